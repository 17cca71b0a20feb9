//! One exposure outside a session: a test frame, or the table without the product.

use std::collections::HashSet;
use std::path::Path;
use std::sync::Mutex;
use std::time::Duration;

use session_core::camera::{Arrival, CameraContext, ExposureRequest, ShutterLine};
use session_core::cancel::CancelToken;
use session_core::file_name;
use session_core::journal::SessionFile;
use session_core::journal::durable::{self, Part};
use session_core::turntable::Turntable;

use crate::studio::{EMPTY_TABLE, Studio};

/// Where in a set's folder frames of the empty table lie.
const PLATES: &str = "plate";
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

/// Shoots the table without the product and keeps the frame in the set's folder, beside those of earlier tries. Gives
/// its name as seen from that folder.
///
/// Each file is written, synced and named without replacing anything before the camera's own copy goes. What a
/// failed try leaves lies in `incoming`, from where the set's next opening brings it into quarantine.
///
/// # Errors
/// A sentence for people.
pub fn shoot_plate(
    studio: &mut Studio,
    set: &Path,
    cancel: &CancelToken,
    prompt: &dyn Fn(String),
) -> Result<String, String> {
    let plan = SessionFile::read(set).map_err(|error| error.to_string())?.plan;
    let folder = set.join(PLATES);
    durable::create_folder(&folder).map_err(|error| error.to_string())?;
    let stem = free_stem(&folder, &plan.sku);
    let inbox = set.join("incoming").join(&stem);
    durable::create_folder(&inbox).map_err(|error| error.to_string())?;
    let row = plan.rows.first().map_or("", |row| row.name.as_str());
    let request = ExposureRequest {
        // Far from a session's own numbers.
        shot: u64::MAX / 4,
        stop: 0,
        row: format!("{row}{EMPTY_TABLE}"),
        degrees_text: "0".to_owned(),
        sku: plan.sku.clone(),
        exposure: Duration::from_secs_f64(plan.exposure_secs),
        inbox: inbox.clone(),
    };
    let arrivals = expose(studio, &request, cancel, prompt)?;
    let mut picture = None;
    let mut names = Vec::new();
    for arrival in &arrivals {
        let name = format!("{stem}{}", ending_of(arrival));
        let bytes = bytes_of(arrival)?;
        keep(&folder, &name, &bytes)?;
        if let Arrival::Inbox(path) = arrival {
            durable::remove_copy(path);
        }
        // Of a RAW file with its JPEG the first that can be looked at is used.
        if picture.is_none() && imaging::decode::preview(&bytes, LOOK_PX).is_ok() {
            picture = Some(name.clone());
        }
        names.push(name);
    }
    // Empty by now; one that is not stays for the set's next opening.
    let _ = std::fs::remove_dir(&inbox);
    let picture = picture.ok_or_else(|| match names.as_slice() {
        [] => "the camera made no file; look at the camera and try again".to_owned(),
        names => format!(
            "the frame of the empty table is kept as {}, but cannot be read as a picture; let the camera make JPEG files, and shoot it again",
            names.join(", ")
        ),
    })?;
    Ok(format!("{PLATES}/{picture}"))
}

fn keep(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), String> {
    let kept = Part::write(folder, name, bytes)
        .and_then(|part| part.settle(&folder.join(name)))
        .and_then(|()| durable::sync_folder(folder));
    kept.map_err(|error| error.to_string())
}

/// A name that no file there begins with.
fn free_stem(folder: &Path, sku: &str) -> String {
    let there: HashSet<String> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| Some(entry.path().file_stem()?.to_string_lossy().to_lowercase()))
        .collect();
    let numbered = (2..).map(|number| format!("{sku}_empty-table_v{number}"));
    let mut names = std::iter::once(format!("{sku}_empty-table")).chain(numbered);
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
    use session_core::journal::SessionFolder;
    use session_core::plan::Plan;

    fn set(folder: &Path) {
        drop(SessionFolder::open_or_create(folder, &Plan::single_row("LP-0142", 4)).unwrap());
    }

    #[test]
    fn the_empty_table_is_kept_and_replaces_nothing() {
        let folder = tempfile::tempdir().unwrap();
        set(folder.path());
        let options = StudioOptions { sim_frame_px: (300, 200), ..StudioOptions::default() };
        let mut studio = studio::open(&TableSpec::Sim, &CameraSpec::Sim, &options).unwrap();
        let cancel = CancelToken::default();
        let first = shoot_plate(&mut studio, folder.path(), &cancel, &|_| {}).unwrap();
        assert_eq!(first, "plate/LP-0142_empty-table.jpg");
        let before = std::fs::read(folder.path().join(&first)).unwrap();
        let second = shoot_plate(&mut studio, folder.path(), &cancel, &|_| {}).unwrap();
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
        set(folder.path());
        // Demo data.
        let camera = "command:sh -c 'echo the battery is flat >&2; exit 3' {file}".parse().unwrap();
        let mut studio = studio::open(&TableSpec::Sim, &camera, &StudioOptions::default()).unwrap();
        let reason = shoot_plate(&mut studio, folder.path(), &CancelToken::default(), &|_| {}).unwrap_err();
        assert!(reason.contains("the battery is flat"), "{reason}");
        assert_eq!(std::fs::read_dir(folder.path().join(PLATES)).unwrap().count(), 0);
    }
}
