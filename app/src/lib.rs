//! Roundstop's shells: the command line and the window, over one set of functions.

/// Prints a line; a reader that has gone away, such as `head`, is no fault of the program.
macro_rules! println {
    ($($text:tt)*) => {{
        use std::io::Write as _;
        let _ = writeln!(std::io::stdout(), $($text)*);
    }};
}

pub mod bench;
pub mod checks;
pub mod cli;
pub mod controller_files;
pub mod demo;
pub mod listing;
pub mod ports;
pub mod rest;
pub mod settings;
pub mod single_shot;
pub mod studio;
pub mod tether;
pub mod window;
pub mod words;
