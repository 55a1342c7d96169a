//! The integration tests: one binary, a module a subject.

mod all {
    mod attending;
    mod catalogue;
    mod command_line;
    mod corpus;
    mod developers;
    mod engraving;
    mod exchange;
    mod faults;
    mod hostile_sound;
    mod invalid;
    mod layers;
    mod lesson;
    mod listening;
    mod manners;
    mod movement_commands;
    mod paper_commands;
    mod pointing;
    mod printed;
    mod readme;
    mod real_time;
    mod screens;
    mod sounding_truth;
    mod takes;
    mod terminal;
    mod tunes;
    mod verdicts;
    mod visible;
    mod weeks;
    mod without_metre;
}
