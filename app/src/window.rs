//! The window: shows state, sends intents, owns none of the logic.
//!
//! News of workers and session comes in through a letter-box and changes the one [`state::State`];
//! panels draw it and send [`intent::WindowIntent`]s; [`handle`] is the one place that acts on them.
//!
//! Invariant: no panel names a file, a port, a camera, a lock or a thread; drawing never waits.

use std::path::PathBuf;

use session_core::plan::Plan;

use crate::settings::Settings;
use crate::studio::{CameraSpec, StudioOptions, TableSpec};

pub mod app;
pub mod ask;
pub mod attention;
pub mod board;
pub mod compare;
pub mod desk;
pub mod devices;
pub mod draft;
pub mod facts;
pub mod finishing;
pub mod finishing_pictures;
pub mod finishing_worker;
pub mod handle;
pub mod history;
pub mod intent;
pub mod languages;
pub mod mailbox;
pub mod marks;
pub mod pace;
pub mod panels;
pub mod pictures;
pub mod places;
pub mod products;
pub mod readiness;
pub mod recents;
pub mod ring_layout;
pub mod setup;
pub mod speech;
pub mod stage;
pub mod state;
pub mod text;
pub mod theme;
pub mod tryout;
pub mod words;

pub use app::WindowApp;

/// What the window begins with.
#[derive(Debug, Clone)]
pub struct WindowStart {
    /// The plan in the fields.
    pub plan: Plan,
    /// Whether that plan was asked for; otherwise a set in the folder brings its own.
    pub own_plan: bool,
    /// The session folder; made when shooting starts.
    pub folder: PathBuf,
    /// The table.
    pub table: TableSpec,
    /// The camera.
    pub camera: CameraSpec,
    /// Settings of both.
    pub options: StudioOptions,
    /// A sentence to begin with, such as what is simulated.
    pub note: Option<String>,
    /// What is remembered from earlier starts.
    pub settings: Settings,
    /// Where it is remembered; `None` remembers nothing.
    pub remember: Option<PathBuf>,
}

const ICON: &[u8] = include_bytes!("../../icons/roundstop-256.png");

/// Opens the window and returns when it is closed.
///
/// # Errors
/// Why no window can be shown, such as a machine without a display.
pub fn run(mut start: WindowStart) -> Result<(), String> {
    if let (Some(language), Some(place)) = (&start.settings.language, &start.remember)
        && let Err(reason) = languages::speak(&languages::folder(place), language)
    {
        start.note = Some(reason);
    }
    run_app(start.settings.window_size(), move |ctx| Ok(Box::new(WindowApp::new(ctx, &start)?)))
}

/// Opens a window of this size, points, on an app of one's own making and returns when it is closed.
///
/// # Errors
/// As [`run`].
pub fn run_app(
    size: [f32; 2],
    make: impl FnOnce(&egui::Context) -> Result<Box<dyn eframe::App>, String> + 'static,
) -> Result<(), String> {
    let mut viewport = egui::ViewportBuilder::default()
        .with_title("Roundstop")
        .with_app_id("roundstop")
        .with_inner_size(size)
        .with_min_inner_size([1024.0, 640.0]);
    if let Ok(icon) = eframe::icon_data::from_png_bytes(ICON) {
        viewport = viewport.with_icon(icon);
    }
    let options = eframe::NativeOptions { viewport, ..eframe::NativeOptions::default() };
    let made =
        eframe::run_native("roundstop", options, Box::new(move |context| Ok(make(&context.egui_ctx)?)));
    made.map_err(|error| reason(&error.to_string()).to_owned())
}

/// What a windowing error says, without the place in a library's source that some begin with.
fn reason(error: &str) -> &str {
    let Some(at) = error.find(".rs:") else { return error };
    let rest = error[at + 4..].trim_start_matches(|c: char| c.is_ascii_digit());
    rest.strip_prefix(": ").unwrap_or(error)
}

#[cfg(test)]
mod tests {
    use super::reason;

    #[test]
    fn a_reason_names_no_source_file() {
        assert_eq!(
            reason("EventLoopError: os error at lib/src/mod.rs:765: DISPLAY is not set."),
            "DISPLAY is not set."
        );
        assert_eq!(reason("no suitable OpenGL"), "no suitable OpenGL");
    }
}
