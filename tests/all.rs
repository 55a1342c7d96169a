//! The integration tests: one binary, a module a subject.

mod all {
    mod catalogue;
    mod real_time;
    mod tunes;
}
