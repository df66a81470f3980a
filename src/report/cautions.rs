//! What everyone who waters should be told once.

/// The cautions that go with every timetable, one idea each.
pub const CAUTIONS: [&str; 7] = [
    "Backflow: a supply that also feeds taps needs a backflow preventer of the kind your water \
     authority asks for, tested as it says.",
    "Wiring: valve circuits are 24 V AC from a listed transformer, in the ground only with \
     direct-burial cable and watertight joints; leave mains work to a licensed electrician.",
    "Slips: wet grass, clay and covers are slippery. Close the area, or mark it, while and after it \
     is watered.",
    "Frost: water that freezes breaks pipes and turns paths to ice. Drain the system before winter \
     and keep the frost limit in the site file.",
    "Flooding: give every run a hard limit outside this program too, in the valve, the controller \
     or the meter, so that one stuck valve cannot flood.",
    "Law: hours, days and amounts of watering are often regulated. Check the local rules and \
     permits; the site file knows only what you wrote into it.",
    "Where local codes or a licensed irrigator, plumber or electrician say otherwise, follow them. \
     This is a calculation, and the ground has the last word: look at it.",
];
