//! What wishes in the finishing room and news of its thread change.

use std::path::PathBuf;

use session_core::cancel::CancelToken;

use super::finishing::{FinishingEdit, FinishingWish, Measuring, Outcome, Pace};
use super::finishing_worker::{FinishingNews, JobOrder, ProofOrder};
use super::handle::Tools;
use super::mailbox::FinishingPost;
use super::pictures::Pictures;
use super::state::{NoticeKind, State};

impl Tools {
    /// Handles a wish in the room.
    pub(super) fn handle_finishing(&mut self, state: &mut State, wish: FinishingWish) {
        let folder = state.folder.clone();
        let room = &mut state.finishing;
        match wish {
            FinishingWish::Enter => {
                if state.kept() > 0 && !state.is_busy() {
                    state.finishing.enter(&folder);
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
            FinishingWish::ChoosePlate => self.dialogs.plate(&room.folder),
            FinishingWish::Profile(profile) => room.use_profile(profile),
            FinishingWish::ChooseProfile => self.dialogs.listing_profile(),
            FinishingWish::ListingFolder(text) => room.type_listing_folder(text),
            FinishingWish::ChooseListingFolder => self.dialogs.listing_folder(),
            FinishingWish::Finish => self.begin(state, None),
            FinishingWish::Export => {
                let to = PathBuf::from(room.listing_folder.trim());
                let profile = room.profile.clone();
                self.begin(state, Some((profile, to)));
            }
            FinishingWish::Cancel => self.job_cancel.cancel(),
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
            });
        }
    }

    fn begin(&mut self, state: &mut State, export: Option<(String, PathBuf)>) {
        let room = &mut state.finishing;
        if room.job.is_some() || !room.is_read() {
            return;
        }
        room.job = Some(Pace::new());
        room.outcome = None;
        self.job_cancel = CancelToken::default();
        self.finishing.begin(JobOrder {
            folder: room.folder.clone(),
            export,
            cancel: self.job_cancel.clone(),
        });
    }

    /// Uses a frame of the empty table, named as seen from the set's folder where it lies in it.
    pub(super) fn use_plate(&mut self, state: &mut State, path: &std::path::Path) {
        let plate = path.strip_prefix(&state.finishing.folder).unwrap_or(path);
        let plate = plate.display().to_string();
        self.handle_finishing(state, FinishingWish::Edit(FinishingEdit::Plate(Some(plate))));
    }

    /// Takes the room's news in.
    pub(super) fn take_in_finishing(&self, state: &mut State, pictures: &mut Pictures, post: FinishingPost) {
        let now_secs = self.began.elapsed().as_secs_f64();
        let room = &mut state.finishing;
        if let (Some(progress), Measuring::UnderWay(pace)) = (post.measuring, &mut room.measuring) {
            pace.take_in(progress, now_secs);
        }
        if let (Some(progress), Some(pace)) = (post.job, &mut room.job) {
            pace.take_in(progress, now_secs);
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
                FinishingNews::Opened { .. } | FinishingNews::Measured { .. } => {}
                FinishingNews::NotStored(reason) => state.say(NoticeKind::Trouble, reason),
                FinishingNews::JobEnded(result) => {
                    room.job = None;
                    room.outcome = Some(match result {
                        Ok(text) => Outcome { text, good: true },
                        Err(text) => Outcome { text, good: false },
                    });
                }
            }
        }
    }
}
