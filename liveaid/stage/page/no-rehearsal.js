// Told where no rehearsal is on: in the look that was chosen.
import { dress } from "/choices.js";

dress();
