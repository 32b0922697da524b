"""practice: takes, scores, what to practise next.

May import: errors, files, record, routine, follow, stage, aiohttp, matplotlib, numpy, pydantic,
pythonosc, scipy, soundfile.

Pure, told the time:
  take_places  where each record was at any moment, and what the mixer let through
  trace       every message of a take, as few bytes as will do
  motion      what one record does: stands, runs, is moved, jumps
  hear        when a hand let go, took or pushed a record
  planned_acts  the acts a routine asks for, on their beats
  visits      which set pieces a take went through, and when
  attempt     one set piece of a take with all it is judged by
  beat_times  where the beats lay in time; counting: which count that is
  hand_acts   written acts held against a trace; strokes_heard: each push and pull with its turn
  fader_cuts  the fader's moves held against the map; hand_cuts: each deck's over a set piece;
              fader_spans: when it was open
  stroke_figures  strokes told: begun, turned, how far, open how long
  mixer_trace what the mixer told over a take, kept beside its positions
  winds       whether records were brought to their cues in time
  match       which heard act answers which planned one
  act_score   one act against its beat; assess: a whole take's
  delays      how late positions and click are; shift: what a take is late by on the whole
  limits      what counts as clean; timing: many acts' errors against that
  take_score  a take's score as it is kept and shown; score: how it is worked out; written: how
              figures are rounded
  takes       where a take begins and ends; count_in, ladder, care; aim: what is practised;
              session: a rehearsal as it goes
  bar_left_out  a bar left out where only the hands count
  breaks      false starts told from good runs; bars: bars played otherwise than written
  stretch     a set piece, some bars or a transition as a routine of its own; cut_acts: its acts
  slower      deck files for tempos the fader does not reach
  weeks_plan  a session's turns; calibration: delays from records let go to a click
  advice      one sentence a hand
  wilson      how sure a clean rate is; next: what to practise next; ready: ready for the stage
  weeks       progress, plateaus, a plan back from a date
  recorded_sound, passages, align, recording: a take from a recording of mixer or phone;
              bed_alone: acts told apart from the running record below them
Files, clocks, threads:
  schema, records, store, reading: the file of takes
  report, review_json, take_line: what is told of them
  pictures: take_picture, bars_picture, history_picture, losses, with the looks of picture_look
  rehearsal, take_keeping, rehearsal_status, calibrating, pages, replay: beside the running stage
  learnt: the performer's habits by takes of the whole routine
  history: takes of the set pieces as now written; journal: ended takes, a file each
"""
