//! Keeps the computer awake while a set is shot, and calls the person when it is done or stuck.
//!
//! Neither is worth failing for: on a system without these services the work goes on as it is.

use crate::window::text::t;
use keepawake::KeepAwake;

/// Holds the computer awake until dropped; `None` where the system has no such service.
pub fn stay_awake() -> Option<KeepAwake> {
    keepawake::Builder::default()
        .idle(true)
        .sleep(true)
        .display(false)
        .reason(t!("attention-a-set-is-being-shot"))
        .app_name("Roundstop")
        .app_reverse_domain("org.roundstop.Roundstop")
        .create()
        .ok()
}

/// Shows a desktop notification with the system's own sound for it.
pub fn call(text: &str, done: bool) {
    let sound = if done { "complete" } else { "dialog-warning" };
    let _ = notify_rust::Notification::new()
        .appname("Roundstop")
        .summary("Roundstop")
        .body(text)
        .sound_name(sound)
        .show();
}
