//! What is known of one stop's frames: angles, exposure, file, time; read from the set's folder.

use std::path::{Path, PathBuf};
use std::time::SystemTime;

use session_core::journal::{
    JOURNAL_FILE, SESSION_FILE, SessionFile, SessionFolder, SetStatus, VersionReport,
};

/// What is known of a stop's frames.
#[derive(Debug, Clone, PartialEq)]
pub struct StopFacts {
    /// Which stop, and of which state of it.
    pub key: FactsKey,
    /// Every version, oldest first.
    pub versions: Vec<VersionFacts>,
    /// Of a closing frame in use, whether it stands one turn on from its row's first frame; only then it tells
    /// whether the turn closes. `None` of a stop of the set.
    pub is_a_turn_on: Option<bool>,
}

/// Tells one state of a stop's frames from the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FactsKey {
    /// The stop's number.
    pub stop: u32,
    /// How many versions it has.
    pub versions: usize,
}

/// What is known of one version.
#[derive(Debug, Clone, PartialEq)]
pub struct VersionFacts {
    /// Counts from 1.
    pub version: u32,
    /// Where the table said it stood, degrees along the plan's direction within one turn; `None` when none did.
    pub reported_deg: Option<f64>,
    /// That less the planned angle, the short way round, degrees.
    pub off_deg: Option<f64>,
    /// The exposure time, seconds.
    pub exposure_secs: Option<f64>,
    /// The aperture as it is written, such as `f/8`.
    pub aperture: Option<String>,
    /// The ISO speed.
    pub iso: Option<String>,
    /// When the exposure ended, by this computer's clock and in its time zone.
    pub exposed_at: String,
    /// Sizes of its files, bytes; the first is the picture's.
    pub file_bytes: Vec<u64>,
}

/// Reads what is known of stops' frames. Looking through a set does not read the set anew for every stop, only
/// when its files have changed.
#[derive(Default)]
pub struct FactsReader {
    held: Option<Held>,
}

struct Held {
    folder: PathBuf,
    stamp: Stamp,
    set: SessionFile,
    status: SetStatus,
}

/// Length and time of change of the journal and of the plan's file: either grows or is replaced when anything is
/// noted.
type Stamp = [Option<(u64, Option<SystemTime>)>; 2];

impl FactsReader {
    /// What is known of a stop's frames; `None` when the folder does not tell.
    pub fn read(&mut self, folder: &Path, stop: u32) -> Option<StopFacts> {
        // Taken before reading: what is written meanwhile makes the next look read anew.
        let stamp = stamp(folder);
        if !self.held.as_ref().is_some_and(|held| held.folder == folder && held.stamp == stamp) {
            self.held = None;
            let (set, status) = SessionFolder::read(folder).ok()?;
            self.held = Some(Held { folder: folder.to_owned(), stamp, set, status });
        }
        let Held { set, status, .. } = self.held.as_ref()?;
        let closing = status.closing.iter().find(|closing| closing.stop.index == stop);
        let report = closing
            .map(|closing| &closing.stop)
            .or_else(|| status.stops.iter().find(|report| report.index == stop))?;
        let versions: Vec<VersionFacts> =
            report.versions.iter().map(|version| facts_of(folder, set, report.degrees, version)).collect();
        let is_a_turn_on = closing.filter(|closing| closing.stop.file.is_some()).map(|at| at.is_a_turn_on);
        Some(StopFacts { key: FactsKey { stop, versions: versions.len() }, versions, is_a_turn_on })
    }
}

fn stamp(folder: &Path) -> Stamp {
    [JOURNAL_FILE, SESSION_FILE].map(|name| {
        let found = std::fs::metadata(folder.join(name)).ok()?;
        Some((found.len(), found.modified().ok()))
    })
}

fn facts_of(folder: &Path, set: &SessionFile, planned_deg: f64, version: &VersionReport) -> VersionFacts {
    let reported_deg = version.reported_step.map(|step| {
        let along = set.plan.direction.table_angle(set.steps_per_turn.angle_of(step));
        along.wrapped().degrees()
    });
    let exposure = version.exposure.as_ref();
    let told = version.camera_settings.as_ref();
    VersionFacts {
        version: version.version,
        reported_deg,
        off_deg: reported_deg.map(|deg| (deg - planned_deg + 180.0).rem_euclid(360.0) - 180.0),
        exposure_secs: exposure.and_then(|facts| facts.exposure_secs),
        aperture: exposure
            .and_then(|facts| Some(format!("f/{}", facts.f_number?)))
            .or_else(|| told.and_then(|settings| settings.aperture.clone())),
        iso: exposure
            .and_then(|facts| Some(facts.iso?.to_string()))
            .or_else(|| told.and_then(|settings| settings.iso.clone())),
        exposed_at: local_time(&version.exposed_at),
        file_bytes: version
            .files
            .iter()
            .filter_map(|file| Some(std::fs::metadata(folder.join(file)).ok()?.len()))
            .collect(),
    }
}

fn local_time(written: &str) -> String {
    let read = written.parse::<jiff::Timestamp>();
    read.map_or_else(
        |_| written.to_owned(),
        |time| time.to_zoned_datetime(jiff::tz::TimeZone::system()).strftime("%Y-%m-%d %H:%M:%S").to_string(),
    )
}

/// An exposure time as cameras write it, such as `1/60` or `0.8`.
pub fn exposure_words(secs: f64) -> String {
    // Cameras write up to about a quarter of a second as a fraction (common practice, no source).
    let parts = (1.0 / secs).round();
    if secs > 0.0 && secs < 0.3 && (parts * secs - 1.0).abs() < 0.02 {
        format!("1/{parts}")
    } else {
        format!("{}", (secs * 1000.0).round() / 1000.0)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use session_core::camera::Arrival;
    use session_core::engine::Shot;
    use session_core::journal::KeepJob;
    use session_core::plan::Plan;

    use super::*;

    /// The smallest that passes for a JPEG file (ITU-T T.81: SOI, SOS with an empty header, data, EOI), this many
    /// bytes longer.
    fn jpeg(longer: u64) -> Vec<u8> {
        let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xDA, 0x00, 0x02];
        bytes.extend((0..longer).map(|_| 0x55));
        bytes.extend([0xFF, 0xD9]);
        bytes
    }

    fn keep(folder: &SessionFolder, number: u64, stop: u32) {
        let job = KeepJob {
            shot: Shot { number, stop, commanded_step: 0, reported_step: 0 },
            source: "test".to_owned(),
            exposed_at: jiff::Timestamp::UNIX_EPOCH,
            arrivals: vec![Arrival::Bytes { name: "frame.jpg".to_owned(), bytes: Arc::new(jpeg(number)) }],
            settings: None,
        };
        folder.keep(&job).unwrap();
    }

    #[test]
    fn what_is_noted_after_the_last_look_is_seen() {
        let place = tempfile::tempdir().unwrap();
        let other = tempfile::tempdir().unwrap();
        let set = SessionFolder::open_or_create(place.path(), &Plan::single_row("LP-0142", 4)).unwrap();
        let other_set = SessionFolder::open_or_create(other.path(), &Plan::single_row("LP-0143", 4)).unwrap();
        let mut reader = FactsReader::default();
        let mut bytes_of = |folder: &Path, stop| {
            let versions = reader.read(folder, stop).map(|facts| facts.versions).unwrap_or_default();
            versions.into_iter().map(|version| version.file_bytes).collect::<Vec<_>>()
        };
        assert_eq!(bytes_of(place.path(), 1), Vec::<Vec<u64>>::new());
        keep(&set, 1, 1);
        assert_eq!(bytes_of(place.path(), 1), [[9]]);
        keep(&set, 2, 1);
        assert_eq!(bytes_of(place.path(), 1), [[9], [10]]);
        keep(&other_set, 3, 1);
        assert_eq!(bytes_of(other.path(), 1), [[11]]);
        assert_eq!(bytes_of(place.path(), 1), [[9], [10]]);
        assert_eq!(bytes_of(place.path(), 9), Vec::<Vec<u64>>::new());
    }

    #[test]
    fn exposure_times_read_as_on_a_camera() {
        for (secs, words) in
            [(1.0 / 60.0, "1/60"), (0.25, "1/4"), (0.004, "1/250"), (0.8, "0.8"), (2.5, "2.5")]
        {
            assert_eq!(exposure_words(secs), words);
        }
    }
}
