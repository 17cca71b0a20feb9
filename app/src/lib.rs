//! Roundstop's shells: the command line and the window, over one set of functions.

pub mod cli;
pub mod demo;
pub mod studio;
pub mod window;
pub mod words;
