//! What is known of one stop's frames: angles, exposure, file, time; read from the set's folder.

use std::path::Path;

use session_core::journal::{SessionFile, SessionFolder, VersionReport};

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

/// Reads what is known of a stop's frames; `None` when the folder does not tell.
pub fn read(folder: &Path, stop: u32) -> Option<StopFacts> {
    let status = SessionFolder::read_status(folder).ok()?;
    let text = std::fs::read_to_string(folder.join("session.json")).ok()?;
    let set: SessionFile = serde_json::from_str(&text).ok()?;
    let closing = status.closing.iter().find(|closing| closing.stop.index == stop);
    let report = closing
        .map(|closing| &closing.stop)
        .or_else(|| status.stops.iter().find(|report| report.index == stop))?;
    let versions: Vec<VersionFacts> =
        report.versions.iter().map(|version| facts_of(folder, &set, report.degrees, version)).collect();
    let is_a_turn_on = closing.filter(|closing| closing.stop.file.is_some()).map(|at| at.is_a_turn_on);
    Some(StopFacts { key: FactsKey { stop, versions: versions.len() }, versions, is_a_turn_on })
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
    use super::*;

    #[test]
    fn exposure_times_read_as_on_a_camera() {
        for (secs, words) in
            [(1.0 / 60.0, "1/60"), (0.25, "1/4"), (0.004, "1/250"), (0.8, "0.8"), (2.5, "2.5")]
        {
            assert_eq!(exposure_words(secs), words);
        }
    }
}
