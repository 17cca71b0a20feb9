//! One exposure outside a session: a test frame, or the table without the product.

use std::collections::HashSet;
use std::path::Path;
use std::sync::Mutex;
use std::time::Duration;

use session_core::camera::{Arrival, CameraContext, ExposureRequest, ShutterLine};
use session_core::cancel::CancelToken;
use session_core::file_name;
use session_core::journal::SessionFolder;
use session_core::journal::durable::{self, Part};
use session_core::turntable::Turntable;

use crate::studio::Studio;

/// Where in a set's folder frames of the empty table lie.
const PLATES: &str = "plate";
/// The number of an exposure of the empty table; a session's own count from 1.
const PLATE_SHOT: u64 = u64::MAX / 4;
/// The longer side in which a frame is looked at, to see that it is a picture, pixels.
const LOOK_PX: u32 = 256;

/// Exposes once and fetches what the camera made.
///
/// `prompt` is called with what a person has to do, such as to fire the shutter.
///
/// # Errors
/// A sentence for people.
pub fn expose(
    studio: &mut Studio,
    request: &ExposureRequest,
    cancel: &CancelToken,
    prompt: &dyn Fn(String),
) -> Result<Vec<Arrival>, String> {
    let has_shutter = studio.table.facts().has_shutter;
    let shutter = Shutter(Mutex::new(studio.table.as_mut()));
    let context =
        CameraContext { cancel, shutter: has_shutter.then_some(&shutter as &dyn ShutterLine), prompt };
    let camera = &mut studio.camera;
    camera.expose(request, &context).map_err(|error| error.to_string())?;
    camera.fetch(request, &context).map_err(|error| error.to_string())
}

/// The content of a file of an exposure.
///
/// # Errors
/// A sentence for people.
pub fn bytes_of(arrival: &Arrival) -> Result<Vec<u8>, String> {
    match arrival {
        Arrival::Inbox(path) | Arrival::Foreign(path) => std::fs::read(path)
            .map_err(|error| format!("the frame {} cannot be read: {error}; try again", path.display())),
        Arrival::Bytes { bytes, .. } => Ok(bytes.as_ref().clone()),
    }
}

/// Shoots the table without the product, the camera standing as it stood for a row, and keeps the frame in the set's
/// folder, beside those of earlier tries. Gives its name as seen from that folder.
///
/// Each file is written, synced and named without replacing anything before the camera's own copy goes. What a
/// failed try leaves goes into quarantine.
///
/// # Errors
/// A sentence for people.
pub fn shoot_plate(
    studio: &mut Studio,
    set: &SessionFolder,
    row: &str,
    cancel: &CancelToken,
    prompt: &dyn Fn(String),
) -> Result<String, String> {
    let plan = set.plan();
    let folder = set.root().join(PLATES);
    durable::create_folder(&folder).map_err(|error| error.to_string())?;
    let row_in_name = if plan.rows.len() > 1 { format!("_{row}") } else { String::new() };
    let stem = free_stem(&folder, &format!("{}{row_in_name}_empty-table", plan.sku));
    let inbox = set.root().join("incoming").join(&stem);
    durable::create_folder(&inbox).map_err(|error| error.to_string())?;
    let request = ExposureRequest {
        shot: PLATE_SHOT,
        stop: 0,
        row: row.to_owned(),
        degrees_text: "0".to_owned(),
        sku: plan.sku.clone(),
        empty_table: true,
        exposure: Duration::from_secs_f64(plan.exposure_secs),
        inbox: inbox.clone(),
    };
    let arrivals = expose(studio, &request, cancel, prompt);
    let mut files_kept = 0;
    let used = match &arrivals {
        Ok(arrivals) => keep_all(&folder, &stem, arrivals, &mut files_kept),
        Err(reason) => Err(reason.clone()),
    };
    // Else what came too late would be taken for something of the next session, which may be another set's.
    let mut left = arrivals.unwrap_or_default().split_off(files_kept);
    left.extend(studio.camera.take_held());
    let held = set.hold(PLATE_SHOT, &left, "it came for a frame of the empty table, and was not kept as one");
    // Empty by now; one that is not stays for the set's next opening.
    let _ = std::fs::remove_dir(&inbox);
    let picture = used?;
    held.map_err(|error| {
        format!("the empty table is kept as {PLATES}/{picture}, to be chosen from a file; what came beside it was not: {error}")
    })?;
    Ok(format!("{PLATES}/{picture}"))
}

/// Keeps an exposure's files, and counts those that are kept; gives the name of the one to be used.
fn keep_all(
    folder: &Path,
    stem: &str,
    arrivals: &[Arrival],
    files_kept: &mut usize,
) -> Result<String, String> {
    let mut picture = None;
    let mut names = Vec::new();
    for arrival in arrivals {
        let name = format!("{stem}{}", ending_of(arrival));
        let bytes = bytes_of(arrival)?;
        keep(folder, &name, &bytes)?;
        *files_kept += 1;
        if let Arrival::Inbox(path) = arrival {
            durable::remove_copy(path);
        }
        // Of a RAW file with its JPEG the first that can be looked at is used.
        if picture.is_none() && imaging::decode::preview(&bytes, LOOK_PX).is_ok() {
            picture = Some(name.clone());
        }
        names.push(name);
    }
    picture.ok_or_else(|| match names.as_slice() {
        [] => "the camera made no file; look at the camera and try again".to_owned(),
        names => format!(
            "the frame of the empty table is kept as {}, but cannot be read as a picture; let the camera make JPEG files, and shoot it again",
            names.join(", ")
        ),
    })
}

fn keep(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), String> {
    let kept = Part::write(folder, name, bytes)
        .and_then(|part| part.settle(&folder.join(name)))
        .and_then(|()| durable::sync_folder(folder));
    kept.map_err(|error| error.to_string())
}

/// A name, or a numbered one, that no file there begins with.
fn free_stem(folder: &Path, stem: &str) -> String {
    let there: HashSet<String> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| Some(entry.path().file_stem()?.to_string_lossy().to_lowercase()))
        .collect();
    let numbered = (2..).map(|number| format!("{stem}_v{number}"));
    let mut names = std::iter::once(stem.to_owned()).chain(numbered);
    names.find(|name| !there.contains(&name.to_lowercase())).unwrap_or_default()
}

/// The ending of a file's name, with its dot, in small letters as those of kept frames.
fn ending_of(arrival: &Arrival) -> String {
    let name = match arrival {
        Arrival::Inbox(path) | Arrival::Foreign(path) => file_name::of_path(path),
        Arrival::Bytes { name, .. } => name.clone(),
    };
    let ending = Path::new(&name).extension();
    ending.map(|ending| format!(".{}", ending.to_string_lossy().to_lowercase())).unwrap_or_default()
}

/// Fires the shutter over a table that no session holds.
struct Shutter<'a>(Mutex<&'a mut dyn Turntable>);

impl ShutterLine for Shutter<'_> {
    fn fire(&self, press: Duration) -> Result<(), String> {
        let mut table = self.0.lock().map_err(|_| "the table's line is in use".to_owned())?;
        table.fire_shutter(press).map_err(|error| error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::studio::{self, CameraSpec, StudioOptions, TableSpec};
    use session_core::plan::{Plan, Row};

    fn set(folder: &Path) -> SessionFolder {
        SessionFolder::open_or_create(folder, &Plan::single_row("LP-0142", 4)).unwrap()
    }

    #[test]
    fn the_empty_table_is_kept_and_replaces_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let set = set(folder.path());
        let options = StudioOptions { sim_frame_px: (300, 200), ..StudioOptions::default() };
        let mut studio = studio::open(&TableSpec::Sim, &CameraSpec::Sim, &options).unwrap();
        let cancel = CancelToken::default();
        let first = shoot_plate(&mut studio, &set, "level", &cancel, &|_| {}).unwrap();
        assert_eq!(first, "plate/LP-0142_empty-table.jpg");
        let before = std::fs::read(folder.path().join(&first)).unwrap();
        let second = shoot_plate(&mut studio, &set, "level", &cancel, &|_| {}).unwrap();
        assert_eq!(second, "plate/LP-0142_empty-table_v2.jpg");
        assert_eq!(std::fs::read(folder.path().join(&first)).unwrap(), before);
        // Nothing stays behind, and nothing stands on the table: its middle is as light as beside it.
        assert_eq!(std::fs::read_dir(folder.path().join("incoming")).unwrap().count(), 0);
        let picture = imaging::decode::preview(&before, 300).unwrap().picture;
        let light = |x: usize, y: usize| i32::from(picture.rgb()[(y * 300 + x) * 3 + 1]);
        assert!((light(150, 90) - light(40, 90)).abs() < 40, "{} {}", light(150, 90), light(40, 90));
    }

    #[cfg(unix)]
    #[test]
    fn a_program_that_fails_is_told_and_leaves_no_plate() {
        let folder = tempfile::tempdir().unwrap();
        let set = set(folder.path());
        // Demo data.
        let camera = r#"command:sh -c 'printf half > "$0"; echo the battery is flat >&2; exit 3' {file}"#
            .parse()
            .unwrap();
        let mut studio = studio::open(&TableSpec::Sim, &camera, &StudioOptions::default()).unwrap();
        let reason = shoot_plate(&mut studio, &set, "level", &CancelToken::default(), &|_| {}).unwrap_err();
        assert!(reason.contains("the battery is flat"), "{reason}");
        let count = |below: &str| std::fs::read_dir(folder.path().join(below)).unwrap().count();
        assert_eq!((count(PLATES), count("incoming"), count("quarantine")), (0, 0, 1));
    }

    #[test]
    fn each_row_has_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let mut plan = Plan::single_row("LP-0142", 4);
        plan.rows.push(Row::full_turn("high", 4));
        let set = SessionFolder::open_or_create(folder.path(), &plan).unwrap();
        let options = StudioOptions { sim_frame_px: (150, 100), ..StudioOptions::default() };
        let mut studio = studio::open(&TableSpec::Sim, &CameraSpec::Sim, &options).unwrap();
        let mut shoot = |row| shoot_plate(&mut studio, &set, row, &CancelToken::default(), &|_| {}).unwrap();
        let (level, high) = (shoot("level"), shoot("high"));
        assert_eq!(level, "plate/LP-0142_level_empty-table.jpg");
        assert_eq!(high, "plate/LP-0142_high_empty-table.jpg");
        let pixels = |name: &str| {
            let bytes = std::fs::read(folder.path().join(name)).unwrap();
            imaging::decode::preview(&bytes, 150).unwrap().picture.rgb().to_vec()
        };
        // The camera stands higher for the other row, so that the plate is seen rounder.
        let (level, high) = (pixels(&level), pixels(&high));
        let unlike = level.iter().zip(&high).filter(|(one, other)| one.abs_diff(**other) > 20).count();
        assert!(unlike > level.len() / 20, "{unlike} of {}", level.len());
    }
}
