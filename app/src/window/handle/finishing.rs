//! What wishes in the finishing room and news of its thread change.

use std::path::{Path, PathBuf};

use session_core::cancel::CancelToken;

use super::Tools;
use crate::listing::finished_folder;
use crate::window::ask::Purpose;
use crate::window::desk::Order;
use crate::window::finishing::{FinishingEdit, FinishingWish, Job, Measuring, Outcome, Pace};
use crate::window::finishing_worker::{FinishingNews, JobOrder, ProofOrder};
use crate::window::mailbox::FinishingPost;
use crate::window::pictures::Pictures;
use crate::window::state::{NoticeKind, State};
use crate::window::text::t;

impl Tools {
    /// Handles a wish in the room.
    pub(super) fn handle_finishing(&mut self, state: &mut State, wish: FinishingWish) {
        let folder = state.folder.clone();
        let room = &mut state.finishing;
        match wish {
            FinishingWish::Enter => {
                if state.kept() > 0 && !state.is_busy() {
                    let looked_at = state.shown().map(|place| place.index);
                    state.finishing.enter(&folder, looked_at);
                    // What was said of shooting has been read.
                    state.notices.retain(|notice| notice.kind != NoticeKind::Note);
                    self.order_proof(state);
                }
            }
            FinishingWish::Leave => {
                room.open = false;
                self.finishing.leave();
            }
            FinishingWish::Turn(at) => {
                if at < room.stops.len() && at != room.at {
                    room.at = at;
                    self.order_proof(state);
                }
            }
            FinishingWish::Show(side) => room.side = side,
            FinishingWish::Divide(at) => room.divider = at.clamp(0.0, 1.0),
            FinishingWish::Size(edge_px) => {
                if edge_px != room.edge_px {
                    room.edge_px = edge_px;
                    self.order_proof(state);
                }
            }
            FinishingWish::Edit(edit) => {
                if room.edit(edit) {
                    self.order_proof(state);
                }
            }
            FinishingWish::ChoosePlate => self.ask(state, Purpose::Plate),
            FinishingWish::AskForPlate(asked) => room.plate_asked = asked,
            FinishingWish::ShootPlate => {
                room.plate_asked = false;
                self.shoot_plate(state);
            }
            FinishingWish::Profile(profile) => {
                room.use_profile(profile);
                self.order_proof(state);
            }
            FinishingWish::ChooseProfile => self.ask(state, Purpose::ListingProfile),
            FinishingWish::ListingFolder(text) => room.type_listing_folder(text),
            FinishingWish::ChooseListingFolder => self.ask(state, Purpose::ListingFolder),
            FinishingWish::Finish => self.begin(state, None),
            FinishingWish::Export => {
                let to = PathBuf::from(room.listing_folder.trim());
                let profile = room.profile.clone();
                self.begin(state, Some((profile, to)));
            }
            FinishingWish::Cancel => self.job_cancel.cancel(),
            FinishingWish::ShowMade => {
                if let Some(to) = room.outcome.as_ref().map(|outcome| outcome.to.clone()) {
                    self.order(state, Order::ShowFolder(to));
                }
            }
        }
    }

    fn order_proof(&self, state: &State) {
        let room = &state.finishing;
        if room.open {
            self.finishing.order(ProofOrder {
                folder: room.folder.clone(),
                file: room.file.clone(),
                revision: room.revision,
                at: room.at,
                edge_px: room.edge_px,
                profile: room.profile.clone(),
                profile_choice: room.profile_choice,
            });
        }
    }

    fn begin(&mut self, state: &mut State, export: Option<(String, PathBuf)>) {
        let room = &mut state.finishing;
        if room.job.is_some() || !room.is_read() {
            return;
        }
        room.job = Some(Job {
            folder: room.folder.clone(),
            made_with: room.file.clone(),
            exports: export.is_some(),
            to: export.as_ref().map_or_else(|| finished_folder(&room.folder), |(_, to)| to.clone()),
            pace: Pace::new(),
        });
        room.outcome = None;
        self.job_cancel = CancelToken::default();
        self.finishing.begin(JobOrder {
            folder: room.folder.clone(),
            export,
            cancel: self.job_cancel.clone(),
        });
    }

    /// Uses a frame of the empty table, named as seen from the set's folder where it lies in it.
    pub(super) fn use_plate(&mut self, state: &mut State, path: &Path) {
        let plate = path.strip_prefix(&state.finishing.folder).unwrap_or(path);
        let plate = plate.display().to_string();
        let edit = match state.row_in_room() {
            Some(row) if state.has_rows() => FinishingEdit::PlateOfRow(row.name.clone(), Some(plate)),
            _ => FinishingEdit::Plate(Some(plate)),
        };
        self.handle_finishing(state, FinishingWish::Edit(edit));
    }

    /// Takes in that the empty table was shot: it is the set's plate from now on.
    pub(super) fn take_in_plate(&mut self, state: &mut State, set: &Path, row: String, name: String) {
        let text = t!("finishing-plate-shot", file = name);
        let room = &state.finishing;
        if room.folder == set && room.open && room.is_read() {
            self.handle_finishing(state, FinishingWish::Edit(FinishingEdit::PlateOfRow(row, Some(name))));
            state.say(NoticeKind::Note, text);
        } else {
            // Another set may be in the room by now, whose settings are not to be changed, or none may be read yet.
            state.say(NoticeKind::Note, t!("finishing-plate-not-used", said = text));
        }
    }

    /// Takes the room's news in.
    pub(super) fn take_in_finishing(&self, state: &mut State, pictures: &mut Pictures, post: FinishingPost) {
        let now_secs = self.began.elapsed().as_secs_f64();
        let room = &mut state.finishing;
        if let (Some(progress), Measuring::UnderWay(pace)) = (post.measuring, &mut room.measuring) {
            pace.take_in(progress, now_secs);
        }
        if let (Some(progress), Some(job)) = (post.job, &mut room.job) {
            job.pace.take_in(progress, now_secs);
        }
        for news in post.news {
            let room = &mut state.finishing;
            match news {
                FinishingNews::Opened { folder, found } if folder == room.folder => match found {
                    Ok((file, stops, missing)) => {
                        pictures.proofs.clear();
                        let at = room.at;
                        room.take_in(file, stops, missing);
                        if room.at != at {
                            self.order_proof(state);
                        }
                    }
                    Err(reason) => room.measuring = Measuring::Failed(reason),
                },
                FinishingNews::Measured { revision, result } if revision == room.revision => {
                    room.measuring = result.map_or_else(Measuring::Failed, |()| Measuring::Done);
                }
                FinishingNews::Proof { revision, stop, edge_px, result } => {
                    if revision == room.revision && room.open {
                        room.measuring = Measuring::Done;
                    }
                    pictures.proofs.take_in(revision, stop, edge_px, result);
                }
                FinishingNews::Listing { revision, profile_choice, told } => {
                    if revision == room.revision && profile_choice == room.profile_choice {
                        room.listing = Some(*told);
                    }
                }
                FinishingNews::Opened { .. } | FinishingNews::Measured { .. } => {}
                FinishingNews::NotStored(reason) => state.say(NoticeKind::Trouble, reason),
                FinishingNews::JobEnded { folder, made } => take_in_job(state, &folder, made),
            }
        }
    }
}

/// Takes in what came of the work on a whole set; of another set than the room's it is told beside it.
fn take_in_job(state: &mut State, folder: &Path, made: Result<String, String>) {
    let room = &mut state.finishing;
    let (made_with, to) = room.job.take().map(|job| (job.made_with, job.to)).unwrap_or_default();
    let good = made.is_ok();
    let text = made.unwrap_or_else(|reason| reason);
    if room.folder == folder {
        room.outcome = Some(Outcome { text, good, made_with, to });
    } else {
        let set = session_core::file_name::of_path(folder);
        let kind = if good { NoticeKind::Note } else { NoticeKind::Trouble };
        state.say(kind, t!("finishing-other-set", set = set, text = text));
    }
}
