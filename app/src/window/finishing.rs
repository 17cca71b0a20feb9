//! The finishing room: a set before and after, the chain's settings, and what is made from it.
//!
//! Settings live in the set's own `finishing.json`, the same that the command line reads.

use std::path::{Path, PathBuf};

use imaging::export::ListingProfile;
use imaging::finish::{Background, CropSettings, FinishSettings, Shadow, WhiteBalance};

use super::text::t;
use super::words;
use crate::listing::{FinishingFile, ListingSize, OWN_PROFILES, Progress, Stage};

/// What is known of a listing before it is exported.
#[derive(Debug, Clone, PartialEq)]
pub struct ListingTold {
    /// What it is made by.
    pub profile: ListingProfile,
    /// How large its pictures would be.
    pub size: ListingSize,
}

/// Longest side of a picture that is large in the room, pixels.
pub const LARGEST_PX: u32 = 1400;

/// What the room shows of a stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// As shot on the left of the divider, finished on its right.
    Both,
    /// Finished.
    Finished,
    /// As shot, cut alike.
    AsShot,
}

impl Side {
    /// All, in the order of the buttons.
    pub const ALL: [Self; 3] = [Self::Both, Self::Finished, Self::AsShot];

    /// Its name on a button.
    pub fn name(self) -> String {
        match self {
            Self::Both => t!("finishing-side-divided"),
            Self::Finished => t!("finishing-side-finished"),
            Self::AsShot => t!("finishing-side-as-shot"),
        }
    }
}

/// A change of the set's finishing.
#[derive(Debug, Clone, PartialEq)]
pub enum FinishingEdit {
    /// Even exposure over the set.
    Even(bool),
    /// A neutral background.
    Neutral(bool),
    /// The axis upright and in the middle.
    Straighten(bool),
    /// Cut all frames alike.
    Crop(bool),
    /// Room round the object, per cent.
    Margin(f64),
    /// Width over height.
    Ratio(f64),
    /// White background, or as shot.
    White(bool),
    /// Keep the shadow on white.
    KeepShadow(bool),
    /// Sharpen for the output.
    Sharpen(bool),
    /// How much, per cent.
    SharpenPercent(f32),
    /// The frame of the empty table for all rows; `None` for none.
    Plate(Option<String>),
    /// The frame of the empty table for the row of this name; `None` for the one of all rows.
    PlateOfRow(String, Option<String>),
    /// Who took the pictures.
    Creator(String),
    /// Whose they are.
    Copyright(String),
}

/// A wish in the room.
#[derive(Debug, Clone, PartialEq)]
pub enum FinishingWish {
    /// Go into the room.
    Enter,
    /// Go back to shooting.
    Leave,
    /// Look at this place in the set, counted from 0.
    Turn(usize),
    /// Show this.
    Show(Side),
    /// Put the divider here, 0 at the left border to 1.
    Divide(f32),
    /// Pictures are shown this large, pixels on the longer side.
    Size(u32),
    /// Change a setting.
    Edit(FinishingEdit),
    /// Choose the frame of the empty table.
    ChoosePlate,
    /// Open or close the card that asks before the empty table is shot.
    AskForPlate(bool),
    /// Shoot the empty table with the devices that are connected.
    ShootPlate,
    /// Use this listing profile: one of the program's own, or a file.
    Profile(String),
    /// Choose a file with a listing profile.
    ChooseProfile,
    /// The listing's folder as it is being typed.
    ListingFolder(String),
    /// Choose the folder that the listing's folder is made in.
    ChooseListingFolder,
    /// Finish every kept frame.
    Finish,
    /// Export a listing.
    Export,
    /// Stop finishing or exporting.
    Cancel,
    /// Open the folder of what was made last in the system's file manager.
    ShowMade,
}

/// One kept frame of the set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoomStop {
    /// The stop's number.
    pub stop: u32,
    /// Its row, counted from 0.
    pub row: usize,
    /// The first 64 bits of its frame's SHA-256: a retake is another frame of the same stop.
    pub frame: u64,
}

/// Work on the whole set, and how far it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Pace {
    progress: Option<Progress>,
    /// When the stage at hand was first heard of, seconds since the window opened, and how much was done.
    stage_began: (f64, usize),
    secs_left: Option<f64>,
}

impl Pace {
    /// Work that has not yet said anything.
    pub fn new() -> Self {
        Self { progress: None, stage_began: (0.0, 0), secs_left: None }
    }

    /// Takes news in that came this many seconds after the window opened.
    pub fn take_in(&mut self, progress: Progress, now_secs: f64) {
        if self.progress.is_none_or(|before| before.stage != progress.stage || before.of != progress.of) {
            self.stage_began = (now_secs, progress.done);
        }
        self.progress = Some(progress);
        let done = progress.done.saturating_sub(self.stage_began.1);
        let left = progress.of.saturating_sub(progress.done);
        self.secs_left = (done > 0).then(|| (now_secs - self.stage_began.0) / done as f64 * left as f64);
    }

    /// How far it is, 0 to 1.
    pub fn share(&self) -> f32 {
        self.progress.map_or(0.0, |p| p.done as f32 / p.of.max(1) as f32)
    }

    /// How far it is, in words.
    pub fn words(&self) -> String {
        let Some(progress) = self.progress else { return t!("finishing-reading") };
        let (done, of) = (progress.done, progress.of);
        let what = match progress.stage {
            Stage::Measuring => t!("finishing-measuring", done = done, of = of),
            Stage::Making => t!("finishing-finishing", done = done, of = of),
        };
        match self.secs_left {
            Some(secs) if progress.done < progress.of => {
                t!("finishing-time-left", what = what, span = words::span(secs))
            }
            _ if progress.stage == Stage::Making && progress.done == progress.of => {
                t!("finishing-writing-rest", what = what)
            }
            _ => what,
        }
    }
}

impl Default for Pace {
    fn default() -> Self {
        Self::new()
    }
}

/// Where the set's measuring stands.
#[derive(Debug, Clone, PartialEq)]
pub enum Measuring {
    /// Under way.
    UnderWay(Pace),
    /// Done: pictures come.
    Done,
    /// It cannot be done, for this reason.
    Failed(String),
}

/// Finishing or exporting, while it is done.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// The set it is done for; the room may show another by now.
    pub folder: PathBuf,
    /// What was decided for the set when it began.
    pub made_with: Option<FinishingFile>,
    /// Whether a listing is exported; the set is finished otherwise.
    pub exports: bool,
    /// The folder it is made in.
    pub to: PathBuf,
    /// How far it is.
    pub pace: Pace,
}

/// What was last made of the whole set, in words, and whether it went well.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// In words.
    pub text: String,
    /// Whether it went well.
    pub good: bool,
    /// What was decided for the set when it began.
    pub made_with: Option<FinishingFile>,
    /// The folder it was made in.
    pub to: PathBuf,
}

/// The room.
#[derive(Debug, Clone)]
pub struct FinishingRoom {
    /// Whether it is shown.
    pub open: bool,
    /// The set's folder.
    pub folder: PathBuf,
    /// What was decided for the set; `None` until it is read.
    pub file: Option<FinishingFile>,
    /// Goes up with each change of `file`; pictures name the one they were made with.
    pub revision: u64,
    /// The set's kept frames.
    pub stops: Vec<RoomStop>,
    /// Stops without a frame.
    pub missing: Vec<u32>,
    /// The kept frames that the set had when it was looked at last.
    stops_before: Option<Vec<RoomStop>>,
    /// The place looked at, counted from 0.
    pub at: usize,
    /// The stop to look at once the set is read.
    wanted: Option<u32>,
    /// What is shown of it.
    pub side: Side,
    /// Where the divider is, 0 at the left border to 1.
    pub divider: f32,
    /// How large pictures are shown, pixels on the longer side.
    pub edge_px: u32,
    /// Where the set's measuring stands.
    pub measuring: Measuring,
    /// Finishing or exporting, while it is done.
    pub job: Option<Job>,
    /// How that went the last time.
    pub outcome: Option<Outcome>,
    /// The listing profile: one of the program's own by name, or a file.
    pub profile: String,
    /// Counts its choices.
    pub profile_choice: u64,
    /// What is known of it once it has been read, or why it cannot be used.
    pub listing: Option<Result<ListingTold, String>>,
    /// The listing's folder.
    pub listing_folder: String,
    /// Whether the card is open that asks before the empty table is shot.
    pub plate_asked: bool,
    /// Whether that folder was chosen by the person.
    own_listing_folder: bool,
    /// What crop and sharpening were before they were left out.
    crop_before: CropSettings,
    sharpen_before: f32,
}

impl Default for FinishingRoom {
    fn default() -> Self {
        Self {
            open: false,
            folder: PathBuf::new(),
            file: None,
            revision: 0,
            stops: Vec::new(),
            missing: Vec::new(),
            stops_before: None,
            at: 0,
            wanted: None,
            side: Side::Both,
            divider: 0.5,
            edge_px: 768,
            measuring: Measuring::UnderWay(Pace::new()),
            job: None,
            outcome: None,
            profile: OWN_PROFILES[0].0.to_owned(),
            profile_choice: 0,
            listing: None,
            listing_folder: String::new(),
            plate_asked: false,
            own_listing_folder: false,
            crop_before: CropSettings::default(),
            sharpen_before: FinishSettings::default().sharpen_percent,
        }
    }
}

impl FinishingRoom {
    /// Goes in, to look at this stop; everything is read anew, as the set may have changed.
    pub fn enter(&mut self, folder: &Path, stop: Option<u32>) {
        self.open = true;
        self.plate_asked = false;
        self.wanted = stop;
        if self.folder != folder {
            self.at = 0;
            self.outcome = None;
            self.own_listing_folder = false;
            self.listing = None;
            self.stops.clear();
            self.stops_before = None;
            folder.clone_into(&mut self.folder);
        }
        self.file = None;
        self.revision += 1;
        // Left before it was read, the set is still as it was looked at before.
        if !self.stops.is_empty() {
            self.stops_before = Some(std::mem::take(&mut self.stops));
        }
        self.missing.clear();
        self.measuring = Measuring::UnderWay(Pace::new());
        self.name_listing_folder();
    }

    /// Takes the set in as it was found.
    pub fn take_in(&mut self, file: FinishingFile, stops: Vec<RoomStop>, missing: Vec<u32>) {
        self.file = Some(file);
        let wanted = self.wanted.take().and_then(|wanted| stops.iter().position(|at| at.stop == wanted));
        self.at = wanted.unwrap_or(self.at).min(stops.len().saturating_sub(1));
        // Of another set of frames than this one, it would no longer be so.
        if self.stops_before.take().is_some_and(|before| before != stops) {
            self.outcome = None;
        }
        self.stops = stops;
        self.missing = missing;
    }

    /// Changes a setting; tells whether anything is different now.
    pub fn edit(&mut self, edit: FinishingEdit) -> bool {
        let Some(file) = &mut self.file else { return false };
        let before = file.clone();
        let settings = &mut file.settings;
        match edit {
            FinishingEdit::Even(on) => settings.even = on,
            FinishingEdit::Neutral(true) => settings.white_balance = WhiteBalance::Background,
            FinishingEdit::Neutral(false) => settings.white_balance = WhiteBalance::AsShot,
            FinishingEdit::Straighten(on) => settings.straighten = on,
            FinishingEdit::Crop(true) => settings.crop = settings.crop.or(Some(self.crop_before)),
            FinishingEdit::Crop(false) => {
                self.crop_before = settings.crop.take().unwrap_or(self.crop_before);
            }
            FinishingEdit::Margin(percent) => {
                if let Some(crop) = &mut settings.crop {
                    crop.margin_percent = percent.clamp(0.0, 45.0);
                }
            }
            FinishingEdit::Ratio(ratio) => {
                if let Some(crop) = &mut settings.crop {
                    crop.ratio = ratio.clamp(0.1, 10.0);
                }
            }
            FinishingEdit::White(true) => settings.background = Background::White,
            FinishingEdit::White(false) => settings.background = Background::AsShot,
            FinishingEdit::KeepShadow(true) => settings.shadow = Shadow::Keep,
            FinishingEdit::KeepShadow(false) => settings.shadow = Shadow::Remove,
            FinishingEdit::Sharpen(true) => settings.sharpen_percent = self.sharpen_before.max(1.0),
            FinishingEdit::Sharpen(false) => {
                self.sharpen_before = settings.sharpen_percent;
                settings.sharpen_percent = 0.0;
            }
            FinishingEdit::SharpenPercent(percent) => settings.sharpen_percent = percent.clamp(0.0, 100.0),
            FinishingEdit::Plate(plate) => file.use_plate(plate),
            FinishingEdit::PlateOfRow(row, plate) => file.use_plate_of_row(row, plate),
            FinishingEdit::Creator(text) => file.creator = text,
            FinishingEdit::Copyright(text) => file.copyright = text,
        }
        let changed = *file != before;
        if changed {
            self.revision += 1;
            if matches!(self.measuring, Measuring::Failed(_)) {
                self.measuring = Measuring::UnderWay(Pace::new());
            }
        }
        changed
    }

    /// The stop looked at.
    pub fn stop(&self) -> Option<RoomStop> {
        self.stops.get(self.at).copied()
    }

    /// The place that many stops on in the same row, round the turn.
    pub fn turned(&self, by: i64) -> usize {
        let Some(here) = self.stop() else { return 0 };
        let first = self.stops.iter().position(|s| s.row == here.row).unwrap_or(0);
        let count = self.stops.iter().filter(|s| s.row == here.row).count().max(1);
        first + (self.at as i64 - first as i64 + by).rem_euclid(count as i64) as usize
    }

    /// The place of the same share of the turn in the next row, or the one before.
    pub fn other_row(&self, by: i64) -> usize {
        let Some(here) = self.stop() else { return 0 };
        let row = here.row as i64 + by;
        let of = |row: usize| {
            let first = self.stops.iter().position(|s| s.row == row)?;
            Some((first, self.stops.iter().filter(|s| s.row == row).count()))
        };
        let (Some((first, count)), Some((from, had))) =
            (usize::try_from(row).ok().and_then(of), of(here.row))
        else {
            return self.at;
        };
        first + (self.at - from) * count / had.max(1)
    }

    /// Uses this listing profile.
    pub fn use_profile(&mut self, profile: String) {
        self.profile = profile;
        self.profile_choice += 1;
        self.listing = None;
        self.outcome = None;
        self.name_listing_folder();
    }

    /// Sets the listing's folder as the person typed or chose it.
    pub fn type_listing_folder(&mut self, text: String) {
        self.own_listing_folder = true;
        self.listing_folder = text;
    }

    /// The folder's name for a listing of the profile at hand.
    pub fn listing_name(&self) -> String {
        let stem = Path::new(&self.profile).file_stem().unwrap_or_default();
        stem.to_string_lossy().into_owned()
    }

    fn name_listing_folder(&mut self) {
        if !self.own_listing_folder {
            let folder = self.folder.join("listing").join(self.listing_name());
            self.listing_folder = folder.display().to_string();
        }
    }

    /// What the listing profile asks for, in words.
    pub fn profile_words(&self) -> String {
        let own = OWN_PROFILES.iter().find(|(own, _)| *own == self.profile);
        let profile = match (&self.listing, own) {
            (Some(Ok(told)), _) => told.profile.clone(),
            (_, Some((_, text))) => match ListingProfile::from_toml(text) {
                Ok(profile) => profile,
                Err(error) => return error.to_string(),
            },
            // A file is not read here, where it would keep the window waiting.
            (_, None) => return self.profile.clone(),
        };
        let limit = profile.max_bytes.map(words::file_size);
        let (width, height) = (profile.width_px, profile.height_px);
        let kind = profile.file_type.extension().to_uppercase();
        let chosen = self.file.as_ref().and_then(FinishingFile::chosen_margin);
        let margin = profile.margin_for(chosen);
        match limit {
            Some(limit) => t!(
                "finishing-profile-limited",
                width = width,
                height = height,
                kind = kind,
                limit = limit,
                margin = margin
            ),
            None => {
                t!("finishing-profile-facts", width = width, height = height, kind = kind, margin = margin)
            }
        }
    }

    /// Whether what was made of the set was made with other settings than those at hand.
    pub fn is_outdated(&self) -> bool {
        let made = self.outcome.as_ref().filter(|outcome| outcome.good);
        let made_with = made.and_then(|outcome| outcome.made_with.as_ref());
        made_with.zip(self.file.as_ref()).is_some_and(|(made_with, now)| made_with != now)
    }

    /// Whether the set is read, so that something can be made of it.
    pub fn is_read(&self) -> bool {
        self.file.is_some()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn room() -> FinishingRoom {
        let mut room = FinishingRoom::default();
        room.enter(Path::new("LP-0142"), None);
        let stops = [(1, 0), (2, 0), (3, 0), (4, 0), (5, 1), (6, 1)];
        let stops = stops.iter().map(|(stop, row)| RoomStop { stop: *stop, row: *row, frame: 0 }).collect();
        room.take_in(FinishingFile::default(), stops, Vec::new());
        room
    }

    #[test]
    fn turning_goes_round_and_rows_keep_the_angle() {
        let mut room = room();
        assert_eq!((room.turned(-1), room.turned(5)), (3, 1));
        room.at = 2;
        assert_eq!(room.other_row(1), 5);
        assert_eq!(room.other_row(-1), 2);
        room.at = 5;
        assert_eq!((room.turned(1), room.other_row(-1)), (4, 2));
    }

    #[test]
    fn a_step_left_out_comes_back_as_it_was() {
        let mut room = room();
        let before = room.revision;
        assert!(room.edit(FinishingEdit::Margin(15.0)));
        assert!(room.edit(FinishingEdit::Crop(false)) && room.edit(FinishingEdit::Crop(true)));
        assert!(room.edit(FinishingEdit::Sharpen(false)) && room.edit(FinishingEdit::Sharpen(true)));
        let settings = room.file.clone().unwrap().settings;
        assert!((settings.crop.unwrap().margin_percent - 15.0).abs() < 1e-9);
        assert!((settings.sharpen_percent - FinishSettings::default().sharpen_percent).abs() < 1e-6);
        assert_eq!(room.revision, before + 5);
        assert!(!room.edit(FinishingEdit::Even(true)), "nothing changed");
    }

    #[test]
    fn the_stop_that_was_looked_at_is_looked_at_here_too() {
        let mut room = room();
        let stops = room.stops.clone();
        room.enter(Path::new("LP-0142"), Some(3));
        room.take_in(FinishingFile::default(), stops.clone(), Vec::new());
        assert_eq!(room.stop().map(|at| at.stop), Some(3));
        // One without a frame is not in the room: it stays where it was.
        room.enter(Path::new("LP-0142"), Some(9));
        room.take_in(FinishingFile::default(), stops, Vec::new());
        assert_eq!(room.stop().map(|at| at.stop), Some(3));
    }

    #[test]
    fn what_was_made_is_outdated_until_the_settings_are_as_they_were() {
        let mut room = room();
        let made_with = room.file.clone();
        room.outcome = Some(Outcome { text: String::new(), good: true, made_with, to: PathBuf::new() });
        assert!(!room.is_outdated());
        room.edit(FinishingEdit::Margin(15.0));
        assert!(room.is_outdated());
        let margin = FinishSettings::default().crop.map_or(0.0, |crop| crop.margin_percent);
        room.edit(FinishingEdit::Margin(margin));
        assert!(!room.is_outdated());
    }

    #[test]
    fn what_was_made_before_a_retake_is_no_longer_told() {
        let mut room = room();
        let made = Outcome { text: String::new(), good: true, made_with: None, to: PathBuf::new() };
        let mut stops = room.stops.clone();
        room.outcome = Some(made);
        room.enter(Path::new("LP-0142"), None);
        room.take_in(FinishingFile::default(), stops.clone(), Vec::new());
        assert!(room.outcome.is_some());
        stops[2].frame = 7;
        room.enter(Path::new("LP-0142"), None);
        room.take_in(FinishingFile::default(), stops, Vec::new());
        assert!(room.outcome.is_none());
    }

    #[test]
    fn time_left_follows_the_stage_at_hand() {
        let mut pace = Pace::new();
        let progress = |stage, done| Progress { stage, done, of: 36 };
        pace.take_in(progress(Stage::Measuring, 0), 1.0);
        pace.take_in(progress(Stage::Measuring, 9), 4.0);
        assert_eq!(pace.words(), "Measuring: 9 of 36, about 9 s left");
        pace.take_in(progress(Stage::Making, 0), 20.0);
        assert_eq!(pace.words(), "Finishing: 0 of 36");
        pace.take_in(progress(Stage::Making, 18), 29.0);
        assert_eq!(pace.words(), "Finishing: 18 of 36, about 9 s left");
        assert!((pace.share() - 0.5).abs() < 1e-6);
    }

    #[test]
    fn a_listing_goes_beside_its_set_unless_told_otherwise() {
        let mut room = room();
        assert!(Path::new(&room.listing_folder).ends_with("LP-0142/listing/square"));
        room.use_profile("light".to_owned());
        assert!(Path::new(&room.listing_folder).ends_with("LP-0142/listing/light"));
        assert!(room.profile_words().contains("800 × 800 px, WEBP, at most 60 kB, margin 6 %"));
        room.type_listing_folder("elsewhere".to_owned());
        room.use_profile("wide".to_owned());
        assert_eq!(room.listing_folder, "elsewhere");
    }
}
