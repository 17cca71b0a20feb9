//! The thread behind the finishing room: measures the set, makes pictures before and after, stores settings,
//! and starts the work on the whole set.
//!
//! Of orders only the newest counts: a slider being drawn leaves no queue behind it. The picture looked at
//! comes first, then settings go to disk, then small pictures of all stops are made for turning.

use std::collections::HashSet;
use std::panic::{self, AssertUnwindSafe};
use std::path::PathBuf;
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::thread::JoinHandle;

use egui::ColorImage;
use imaging::Picture;
use imaging::finish::Placement;
use session_core::cancel::CancelToken;

use super::finishing::{ListingTold, RoomStop};
use super::mailbox::Mailbox;
use super::text::t;
use super::words;
use crate::listing::{self, ExportOrder, FinishingFile, KeptSet, Meter, ProofSet, SetFrame};
use crate::words::with_causes;

/// Longest side of the small pictures for turning, pixels.
pub const SMALL_PX: u32 = 384;

/// What is to be looked at.
#[derive(Debug, Clone)]
pub struct ProofOrder {
    /// The set's folder.
    pub folder: PathBuf,
    /// The settings; `None` reads them, and the set, from the folder.
    pub file: Option<FinishingFile>,
    /// Tells settings apart.
    pub revision: u64,
    /// The place in the set.
    pub at: usize,
    /// Longest side, pixels.
    pub edge_px: u32,
    /// The listing profile whose size is to be told.
    pub profile: String,
    /// Counts its choices: a file may be chosen again because it was changed.
    pub profile_choice: u64,
}

/// What is to be made of the whole set.
#[derive(Debug, Clone)]
pub struct JobOrder {
    /// The set's folder.
    pub folder: PathBuf,
    /// A listing profile and the listing's folder; `None` finishes the set.
    pub export: Option<(String, PathBuf)>,
    /// Stops it.
    pub cancel: CancelToken,
}

/// One stop before and after, ready to be uploaded.
#[derive(Debug)]
pub struct ProofImages {
    /// As shot, cut alike.
    pub before: ColorImage,
    /// Finished, or why it cannot be.
    pub after: Result<ColorImage, String>,
    /// How its row is turned and cut.
    pub placement: Placement,
    /// Whether its row's turning axis is known.
    pub axis_known: bool,
    /// What a person should know.
    pub notes: Vec<String>,
}

/// What the thread has done.
#[derive(Debug)]
pub enum FinishingNews {
    /// The set was read.
    Opened {
        /// Its folder.
        folder: PathBuf,
        /// Its settings, kept frames and stops without one; or why it cannot be finished.
        found: Result<(FinishingFile, Vec<RoomStop>, Vec<u32>), String>,
    },
    /// The set is measured, or cannot be.
    Measured {
        /// The settings it was measured for.
        revision: u64,
        /// Why it cannot be.
        result: Result<(), String>,
    },
    /// A picture before and after.
    Proof {
        /// The settings it was made with.
        revision: u64,
        /// The stop.
        stop: u32,
        /// The size asked for, pixels.
        edge_px: u32,
        /// The pictures, or why there are none.
        result: Result<Box<ProofImages>, String>,
    },
    /// What a listing would be.
    Listing {
        /// The settings it was told for.
        revision: u64,
        /// The choice of the profile it was told for.
        profile_choice: u64,
        /// What is known of it, or why it cannot be made.
        told: Box<Result<ListingTold, String>>,
    },
    /// The settings could not be stored.
    NotStored(String),
    /// Work on the whole set has ended.
    JobEnded {
        /// The set's folder.
        folder: PathBuf,
        /// What was made, in words, or why not.
        made: Result<String, String>,
    },
}

#[derive(Default)]
struct Inbox {
    order: Option<ProofOrder>,
    job: Option<JobOrder>,
    leave: bool,
    quit: bool,
}

struct Shared {
    inbox: Mutex<Inbox>,
    came: Condvar,
    /// Stops measuring, when the room is left.
    measuring: CancelToken,
}

/// Sends orders to the thread; dropping it stops the work.
pub struct FinishingWorker {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

impl FinishingWorker {
    /// Starts the thread.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(mailbox: Mailbox) -> Result<Self, String> {
        let shared = Arc::new(Shared {
            inbox: Mutex::default(),
            came: Condvar::new(),
            measuring: CancelToken::default(),
        });
        let inner = Arc::clone(&shared);
        let thread = std::thread::Builder::new()
            .name("finishing".to_owned())
            .spawn(move || Worker { shared: inner, mailbox, table: None, job: None }.run())
            .map_err(|error| {
                format!("the window's worker cannot be started: {error}; close some programs and try again")
            })?;
        Ok(Self { shared, thread: Some(thread) })
    }

    fn put(&self, put: impl FnOnce(&mut Inbox)) {
        put(&mut self.shared.inbox.lock().unwrap_or_else(PoisonError::into_inner));
        self.shared.came.notify_one();
    }

    /// Asks for a picture; an earlier order that was not begun is dropped.
    pub fn order(&self, order: ProofOrder) {
        self.put(|inbox| {
            inbox.order = Some(order);
            inbox.leave = false;
        });
    }

    /// Begins work on the whole set, once the settings are stored.
    pub fn begin(&self, job: JobOrder) {
        self.put(|inbox| inbox.job = Some(job));
    }

    /// The room is left: settings are stored, the rest is let go.
    pub fn leave(&self) {
        self.put(|inbox| {
            inbox.leave = true;
            self.shared.measuring.cancel();
        });
    }
}

impl Drop for FinishingWorker {
    fn drop(&mut self) {
        self.put(|inbox| {
            inbox.quit = true;
            self.shared.measuring.cancel();
        });
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Running {
    cancel: CancelToken,
    thread: JoinHandle<()>,
}

struct Worker {
    shared: Arc<Shared>,
    mailbox: Mailbox,
    table: Option<Table>,
    job: Option<Running>,
}

/// The set that is looked at.
struct Table {
    order: ProofOrder,
    file: FinishingFile,
    stops: Vec<u32>,
    set: Option<KeptSet>,
    proofs: Option<ProofSet>,
    /// Measuring failed with these settings.
    failed: bool,
    large_made: bool,
    /// The size of a listing was told.
    listing_told: bool,
    small_made: HashSet<usize>,
    unstored: bool,
    /// The disk would not take these settings.
    refused: bool,
}

impl Worker {
    fn run(mut self) {
        loop {
            let inbox = self.next();
            if let Some(order) = inbox.order {
                self.adopt(order);
            }
            if inbox.quit {
                break;
            }
            if let Some(job) = inbox.job {
                // With older settings the set would not be what the room shows.
                match self.store() {
                    Ok(()) => self.begin(job),
                    Err(reason) => self.job_ended(job.folder, Err(reason)),
                }
            }
            if inbox.leave {
                self.store_or_tell();
                self.table = None;
            }
            self.step();
        }
        // What was changed last is stored all the same.
        self.store_or_tell();
        if let Some(job) = self.job.take() {
            job.cancel.cancel();
            let _ = job.thread.join();
        }
    }

    /// What has come in; waits for it while there is nothing else to do.
    fn next(&self) -> Inbox {
        let busy = self.has_work();
        let mut inbox = self.shared.inbox.lock().unwrap_or_else(PoisonError::into_inner);
        while !busy && !inbox.quit && !inbox.leave && inbox.order.is_none() && inbox.job.is_none() {
            inbox = self.shared.came.wait(inbox).unwrap_or_else(PoisonError::into_inner);
        }
        self.shared.measuring.reset();
        std::mem::take(&mut *inbox)
    }

    fn has_work(&self) -> bool {
        let job_runs = self.job.as_ref().is_some_and(|job| !job.thread.is_finished());
        self.table.as_ref().is_some_and(|table| {
            (table.unstored && !table.refused)
                || (!table.failed
                    && (table.proofs.is_none()
                        || !table.large_made
                        || !table.listing_told
                        // The whole set's work goes before pictures for turning.
                        || (!job_runs && table.small_made.len() < table.stops.len())))
        })
    }

    fn adopt(&mut self, order: ProofOrder) {
        let same = self.table.as_ref().is_some_and(|table| table.order.folder == order.folder);
        match (&mut self.table, order.file.clone()) {
            (Some(table), Some(file)) if same => table.change(order, file),
            _ => {
                self.store_or_tell();
                self.table = None;
                self.open(order);
            }
        }
    }

    fn open(&mut self, order: ProofOrder) {
        let folder = order.folder.clone();
        let read = KeptSet::read(&folder).and_then(|set| Ok((set, listing::read_finishing(&folder)?)));
        let found = match read {
            Ok((set, file)) => {
                let rows = set.rows.iter().enumerate();
                let stops: Vec<RoomStop> = rows
                    .flat_map(|(row, r)| r.frames.iter().map(move |frame| room_stop(frame, row)))
                    .collect();
                let missing = set.missing.clone();
                self.table = Some(Table {
                    order,
                    file: file.clone(),
                    stops: stops.iter().map(|s| s.stop).collect(),
                    set: Some(set),
                    proofs: None,
                    failed: false,
                    large_made: false,
                    listing_told: false,
                    small_made: HashSet::new(),
                    unstored: false,
                    refused: false,
                });
                Ok((file, stops, missing))
            }
            Err(error) => Err(with_causes(&error)),
        };
        self.mailbox.finishing(FinishingNews::Opened { folder, found });
    }

    /// Does the next piece of work.
    fn step(&mut self) {
        let Some(table) = &mut self.table else { return };
        if table.failed {
            self.store_or_tell();
            return;
        }
        if table.proofs.is_none() {
            self.measure();
            return;
        }
        if !table.large_made {
            table.large_made = true;
            let (at, edge_px) = (table.order.at, table.order.edge_px);
            self.proof(at, edge_px);
            return;
        }
        if !table.listing_told {
            table.listing_told = true;
            self.tell_listing();
            return;
        }
        if table.unstored && !table.refused {
            self.store_or_tell();
            return;
        }
        if let Some(at) = table.next_small() {
            table.small_made.insert(at);
            self.proof(at, SMALL_PX);
        }
    }

    fn measure(&mut self) {
        let Some(table) = &mut self.table else { return };
        let mailbox = self.mailbox.clone();
        let tell = move |progress| mailbox.measuring(progress);
        let meter = Meter { cancel: &self.shared.measuring, tell: &tell, most_at_once: None };
        let set = match table.set.take() {
            Some(set) => Ok(set),
            None => KeptSet::read(&table.order.folder),
        };
        let measured = guarded(|| ProofSet::measure(set?, &table.file, &meter));
        if self.shared.measuring.is_cancelled() {
            // Left; whoever comes back orders anew.
            return;
        }
        let revision = table.order.revision;
        let result = match measured {
            Ok(proofs) => {
                table.proofs = Some(proofs);
                Ok(())
            }
            Err(error) => {
                table.failed = true;
                Err(with_causes(&error))
            }
        };
        self.mailbox.finishing(FinishingNews::Measured { revision, result });
    }

    fn tell_listing(&self) {
        let Some(Table { order, file, proofs: Some(proofs), .. }) = &self.table else { return };
        let told = guarded(|| {
            let profile = listing::read_profile(&order.profile)?;
            let size = proofs.listing_size(file, &profile)?;
            Ok(ListingTold { profile, size })
        });
        let told = Box::new(told.map_err(|error| with_causes(&error)));
        let (revision, profile_choice) = (order.revision, order.profile_choice);
        self.mailbox.finishing(FinishingNews::Listing { revision, profile_choice, told });
    }

    fn proof(&self, at: usize, edge_px: u32) {
        let Some(table) = &self.table else { return };
        let (Some(proofs), Some(stop)) = (&table.proofs, table.stops.get(at).copied()) else { return };
        let result = guarded(|| proofs.proof(stop, &table.file.settings, edge_px))
            .map_err(|error| with_causes(&error));
        let result = result.map(|proof| {
            Box::new(ProofImages {
                before: image(&proof.before),
                after: proof.after.as_ref().map(image).map_err(Clone::clone),
                placement: proof.placement,
                axis_known: proof.axis_known,
                notes: proof.notes,
            })
        });
        self.mailbox.finishing(FinishingNews::Proof {
            revision: table.order.revision,
            stop,
            edge_px,
            result,
        });
    }

    /// Writes settings that were changed; fails with what the disk said.
    fn store(&mut self) -> Result<(), String> {
        let Some(table) = self.table.as_mut().filter(|table| table.unstored) else { return Ok(()) };
        let stored = listing::write_finishing(&table.order.folder, &table.file);
        table.unstored = stored.is_err();
        table.refused = stored.is_err();
        stored.map_err(|error| with_causes(&error))
    }

    fn store_or_tell(&mut self) {
        if let Err(reason) = self.store() {
            self.mailbox.finishing(FinishingNews::NotStored(reason));
        }
    }

    fn begin(&mut self, job: JobOrder) {
        if let Some(before) = self.job.take() {
            before.cancel.cancel();
            let _ = before.thread.join();
        }
        let (cancel, folder) = (job.cancel.clone(), job.folder.clone());
        let mailbox = self.mailbox.clone();
        let thread = std::thread::Builder::new().name("whole set".to_owned()).spawn(move || {
            let teller = mailbox.clone();
            let tell = move |progress| teller.job(progress);
            let meter = Meter { cancel: &job.cancel, tell: &tell, most_at_once: None };
            let made = guarded(|| carry_out(&job, &meter)).map_err(|error| with_causes(&error));
            mailbox.finishing(FinishingNews::JobEnded { folder: job.folder, made });
        });
        match thread {
            Ok(thread) => self.job = Some(Running { cancel, thread }),
            Err(error) => {
                self.job_ended(folder, Err(t!("finishing-not-started", error = error.to_string())));
            }
        }
    }

    fn job_ended(&self, folder: PathBuf, made: Result<String, String>) {
        self.mailbox.finishing(FinishingNews::JobEnded { folder, made });
    }
}

impl Table {
    fn change(&mut self, order: ProofOrder, file: FinishingFile) {
        let elsewhere = (order.at, order.edge_px) != (self.order.at, self.order.edge_px);
        // Also after an edit that was taken back: the room waits for pictures of the newest revision.
        if order.revision != self.order.revision {
            self.failed = false;
            self.large_made = false;
            self.listing_told = false;
            self.small_made.clear();
        }
        if file != self.file {
            self.file = file;
            self.unstored = true;
            self.refused = false;
            if let Some(proofs) = self.proofs.take() {
                if proofs.serves(&self.file) {
                    self.proofs = Some(proofs);
                } else {
                    self.set = Some(proofs.into_set());
                }
            }
        }
        self.large_made &= !elsewhere;
        self.listing_told &= order.profile_choice == self.order.profile_choice;
        self.order = order;
    }

    /// The nearest place along the turn that has no small picture yet.
    fn next_small(&self) -> Option<usize> {
        let at = self.order.at;
        (0..self.stops.len()).filter(|i| !self.small_made.contains(i)).min_by_key(|i| i.abs_diff(at))
    }
}

/// Does a piece of work whose failure must not leave the room waiting: readers of foreign files are in it.
fn guarded<T>(work: impl FnOnce() -> anyhow::Result<T>) -> anyhow::Result<T> {
    panic::catch_unwind(AssertUnwindSafe(work))
        .unwrap_or_else(|_| Err(anyhow::anyhow!(t!("finishing-gave-way"))))
}

fn carry_out(job: &JobOrder, meter: &Meter<'_>) -> anyhow::Result<String> {
    let (mut sentences, notes) = match &job.export {
        None => {
            let report = listing::finish(&job.folder, meter)?;
            let (made, kept) = (report.made, report.kept);
            let count = made + kept;
            let done = t!("finishing-done", count = count, folder = report.folder, made = made, kept = kept);
            let missing = &report.missing;
            let missing = (!missing.is_empty()).then(|| words::without_frame(missing) + ".");
            ([Some(done), missing].into_iter().flatten().collect::<Vec<String>>(), report.notes)
        }
        Some((profile, to)) => {
            let profile = listing::read_profile(profile)?;
            let order = ExportOrder { dir: &job.folder, profile: &profile, to: to.clone(), title: None };
            let report = listing::export(&order, meter)?;
            let done = t!(
                "finishing-exported",
                count = report.pictures,
                profile = report.profile,
                folder = report.folder,
                made = report.made,
                kept = report.pictures - report.made,
                largest = words::file_size(report.largest_bytes)
            );
            (vec![done], report.notes)
        }
    };
    sentences.extend(notes.iter().map(|note| t!("finishing-note", note = note)));
    Ok(sentences.join(" "))
}

/// A kept frame as the room knows it.
fn room_stop(frame: &SetFrame, row: usize) -> RoomStop {
    let digest = frame.sha256.get(..16).and_then(|digits| u64::from_str_radix(digits, 16).ok());
    RoomStop { stop: frame.stop, row, frame: digest.unwrap_or_default() }
}

fn image(picture: &Picture) -> ColorImage {
    ColorImage::from_rgb([picture.width_px() as usize, picture.height_px() as usize], picture.rgb())
}
