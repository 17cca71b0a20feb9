//! Roundstop: the window and the command line.

fn main() {}
