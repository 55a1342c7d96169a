//! The program: reads arguments and leaves the rest to the library.

fn main() {}
