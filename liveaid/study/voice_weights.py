"""What the two judges of `voice` have learnt: logistic regressions over its standardised features.

Learnt from 50,000 windows: recorded speech of three of five speakers of Debian's asterisk sounds
(spoken, put on the beat, and sung by moving its pitch), synthesised voices of espeak-ng and flite,
tracker music, game music, General MIDI instruments alone and together, drum patterns, loops, plain
tones, noises, single hits, and voices over all of these. Tried on the other speakers, voices,
pieces and kits: of windows with a voice alone .99 were told rightly, of voices over music .82, of
tracker and game music .98.
"""

MEAN = (
    20.758, -14.394, 6.859, -16.220, -1.737, -8.342, 1.455, -6.190, -1.943, -3.699,
    19.890, 9.443, 7.854, 5.274, 5.087, 4.510, 4.227, 3.975, 3.893, 3.828,
    3.766, 0.599, 0.703, 0.649, 0.568, 0.295, -0.085, -0.830, 0.655, 0.628,
    0.584, 0.241, 0.156, 0.053, 15.453, 12.380, 8.125, 8.503, 7.113, 6.558,
    6.353, 6.136, 6.103, 6.003, 0.325, 0.143, 8.301,
)  # fmt: skip
SCALE = (
    40.333, 26.367, 12.595, 16.583, 10.881, 11.440, 9.034, 8.720, 7.517, 7.685,
    18.105, 6.357, 5.023, 2.901, 2.601, 2.307, 2.064, 1.938, 1.987, 2.077,
    2.133, 0.208, 0.208, 0.247, 0.249, 1.127, 0.850, 1.237, 0.193, 0.206,
    0.225, 0.333, 0.301, 0.134, 10.317, 7.149, 4.150, 4.866, 3.893, 3.510,
    3.750, 3.535, 3.697, 3.744, 0.216, 0.205, 7.527,
)  # fmt: skip
VOICE = (
    0.361, -0.502, -0.408, -0.381, 0.331, -0.446, -0.032, -0.758, -0.113, -0.576,
    -4.029, 0.165, 1.250, -0.416, 0.758, -0.075, -0.021, 0.454, 0.095, 0.684,
    0.942, 0.788, 0.448, -1.136, -0.886, 0.308, 0.216, 0.051, -1.273, -0.035,
    0.269, 1.448, 0.966, 0.136, 0.376, 0.685, -0.086, -0.024, -0.465, 0.207,
    -0.088, 0.360, 0.467, 0.623, 0.033, -0.692, 0.638,
)  # fmt: skip
VOICE_BASE = -0.322
OTHER = (
    -1.254, 0.605, 0.220, 1.025, -0.804, 0.703, -0.167, 0.233, -0.119, 0.429,
    1.425, -0.131, -0.646, 0.024, -0.101, -0.071, -0.079, 0.094, -0.191, 0.262,
    0.462, 0.179, -1.436, 1.090, 1.291, 0.668, 0.013, 0.156, 1.174, 0.166,
    -0.060, -0.589, -0.139, -0.301, 0.407, -0.145, -0.059, -0.051, 0.015, 0.127,
    -0.470, -0.184, -0.425, -0.326, -0.233, 0.243, -1.534,
)  # fmt: skip
OTHER_BASE = 4.593
"""That anything but a voice sounds."""
