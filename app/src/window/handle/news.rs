//! What dialogs and the desk have to say.

use std::path::{Path, PathBuf};

use super::Tools;
use super::devices::take_in_devices;
use crate::window::ask::{Answer, Asked, PathEdit, Purpose, TypedPath};
use crate::window::desk::{DeskNews, Order};
use crate::window::devices::{CameraEdit, CameraKind};
use crate::window::finishing::FinishingWish;
use crate::window::pace::Pace;
use crate::window::places::PlanInForce;
use crate::window::state::{Link, NoticeKind, State};
use crate::window::text::t;

impl Tools {
    /// Asks for a file or folder.
    pub(super) fn ask(&self, state: &State, purpose: Purpose) {
        let people = directories::UserDirs::new();
        let home = people.map(|people| people.home_dir().to_owned()).unwrap_or_default();
        self.dialogs.open(purpose, begin_of(purpose, state, &home));
    }

    /// Takes in what was chosen in dialogs.
    pub(super) fn take_in_answers(&mut self, state: &mut State) {
        for answer in self.dialogs.answers() {
            match answer {
                Answer::Chosen(purpose, path) => self.use_path(state, purpose, path, Asked::ByDialog),
                Answer::NoDialog(purpose, reason, begin) => {
                    let text = begin.display().to_string();
                    state.typed_path = Some(TypedPath { purpose, reason, text });
                }
            }
        }
    }

    /// Handles what is done with a path that is typed.
    pub(super) fn handle_typed_path(&mut self, state: &mut State, edit: PathEdit) {
        let Some(typed) = &mut state.typed_path else { return };
        match edit {
            PathEdit::Type(text) => typed.text = text,
            PathEdit::Use => {
                let (purpose, path) = (typed.purpose, PathBuf::from(typed.text.trim()));
                state.typed_path = None;
                self.use_path(state, purpose, path, Asked::ByTyping);
            }
            PathEdit::Close => state.typed_path = None,
        }
    }

    /// Does with a path what it was asked for.
    fn use_path(&mut self, state: &mut State, purpose: Purpose, path: PathBuf, asked: Asked) {
        match purpose {
            // A list is a list, whatever it is opened as.
            Purpose::OpenPlan if path.extension().is_some_and(|end| end.eq_ignore_ascii_case("csv")) => {
                self.order(state, Order::ReadList(path));
            }
            Purpose::OpenPlan => {
                self.order(state, Order::LoadPlan(path));
            }
            Purpose::BoardFolder => match state.board.files() {
                Ok(files) => {
                    self.order(state, Order::SaveBoard(Box::new(files), path));
                }
                Err(reason) => state.board.trouble = Some(reason),
            },
            Purpose::OpenList => {
                self.order(state, Order::ReadList(path));
            }
            Purpose::SavePlan => {
                self.order(state, Order::SavePlan(path, state.planned.clone(), asked));
            }
            // The one at hand, confirmed, must not take back what was changed in its plan.
            Purpose::SessionFolder if path == state.folder => {}
            Purpose::SessionFolder => self.use_folder(state, &path),
            Purpose::CameraFolder => {
                state.devices.edit_camera(CameraEdit::Kind(CameraKind::Folder));
                state.devices.edit_camera(CameraEdit::Detail(path.display().to_string()));
                self.let_go(state);
            }
            Purpose::Plate => self.use_plate(state, &path),
            Purpose::ListingProfile => {
                let wish = FinishingWish::Profile(path.display().to_string());
                self.handle_finishing(state, wish);
            }
            Purpose::ListingFolder => {
                let to = path.join(state.finishing.listing_name());
                let wish = FinishingWish::ListingFolder(to.display().to_string());
                self.handle_finishing(state, wish);
            }
        }
    }

    /// Takes in what the desk has done.
    pub(super) fn take_in_desk(&mut self, state: &mut State, news: DeskNews) {
        match news {
            DeskNews::Looked { folder, found } if folder == state.folder => match found {
                Ok(Some(set)) => {
                    let plan = set.plan.clone();
                    state.in_force = Some(set);
                    if state.own_plan {
                        state.lay_out();
                    } else if state.planned.sku == plan.sku {
                        state.load_plan(&plan);
                    } else {
                        state.begin_plan(&plan);
                    }
                    state.look_at_last();
                    self.note_set(state);
                }
                Ok(None) => {
                    state.in_force = None;
                    state.lay_out();
                }
                Err(reason) => state.say(NoticeKind::Trouble, reason),
            },
            DeskNews::Looked { .. } => {}
            DeskNews::Opened { sender, plan } => {
                self.session = Some(sender);
                state.link = Link::Open;
                state.pace = Pace::default();
                let (stops, spare) =
                    state.in_force.take().map(|set| (set.stops, set.spare)).unwrap_or_default();
                state.in_force = Some(PlanInForce { plan, stops, spare });
                state.lay_out();
                self.note_set(state);
                if let Some(intent) = state.then.take() {
                    self.send(intent);
                }
            }
            DeskNews::NotOpened(reason) => {
                state.link = Link::Closed;
                state.then = None;
                state.say(NoticeKind::Trouble, reason);
                self.look(state);
            }
            DeskNews::Closed => self.session_ended(state),
            DeskNews::PlanLoaded(Ok(plan)) => {
                if state.is_busy() {
                    let text = t!("handle-a-plan-can-be-opened");
                    state.say(NoticeKind::Trouble, text);
                } else {
                    state.load_plan(&plan);
                    state.own_plan = true;
                }
            }
            DeskNews::List(list) => {
                state.settings.list = Some(list.path.clone());
                state.list = Some(list);
                self.remember(state);
            }
            DeskNews::ListRead(offer) => state.offer = Some(offer),
            DeskNews::Product(plan, folder) => {
                if !state.is_busy() {
                    state.begin_plan(&plan);
                    self.use_folder(state, &folder);
                    let product = match plan.title.as_str() {
                        "" => plan.sku,
                        title => format!("{} ({title})", plan.sku),
                    };
                    let text = t!("handle-product-is-open", product = product);
                    state.say(NoticeKind::Note, text);
                }
            }
            DeskNews::FolderDropped(folder) => self.use_folder(state, &folder),
            DeskNews::Recents(recents) => state.recents = recents,
            DeskNews::PlanSaved(Ok(path)) => {
                state.say(
                    NoticeKind::Note,
                    t!("handle-the-plan-is-saved-as", path = path.display().to_string()),
                );
            }
            DeskNews::PlanLoaded(Err(reason))
            | DeskNews::PlanSaved(Err(reason))
            | DeskNews::Trouble(reason) => {
                state.say(NoticeKind::Trouble, reason);
            }
            DeskNews::Note(text) => state.say(NoticeKind::Note, text),
            DeskNews::Facts(key, found) => state.take_facts(key, found),
            DeskNews::PlateShot { set, row, name } => self.take_in_plate(state, &set, row, name),
            DeskNews::Tried(_)
            | DeskNews::Prompt(_)
            | DeskNews::NotTried(_)
            | DeskNews::BoardSaved(_)
            | DeskNews::BoardNotSaved(_)
            | DeskNews::Ports(_)
            | DeskNews::Probed(..) => take_in_devices(state, news),
        }
    }
}

/// What the typing of a path begins with: what is chosen at present, or the folder where it most likely lies.
fn begin_of(purpose: Purpose, state: &State, home: &Path) -> PathBuf {
    let folder_of = |file: &Path| file.parent().map_or_else(PathBuf::new, Path::to_owned);
    let begin = match purpose {
        Purpose::SessionFolder => return state.folder.clone(),
        Purpose::SavePlan => return home.join(format!("{}-plan.json", state.planned.sku)),
        Purpose::Plate | Purpose::ListingFolder => state.finishing.folder.clone(),
        Purpose::OpenList => state.list.as_ref().map_or(home.to_owned(), |list| folder_of(&list.path)),
        Purpose::OpenPlan | Purpose::BoardFolder | Purpose::CameraFolder | Purpose::ListingProfile => {
            home.to_owned()
        }
    };
    // The separator at its end, so that a name can be typed on at once.
    begin.join("")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::window::products::ProductList;

    #[test]
    fn typing_a_path_begins_where_it_most_likely_lies() {
        let mut state = State::new(&crate::demo::start().unwrap());
        state.folder = "/pots/sets/LP-7".into();
        state.planned.sku = "LP-7".to_owned();
        state.finishing.folder = state.folder.clone();
        let begins = |purpose, state: &State, text: &str| {
            let begin = begin_of(purpose, state, Path::new("/home/mira"));
            assert_eq!(
                begin.to_string_lossy(),
                text.replace('/', std::path::MAIN_SEPARATOR_STR),
                "{purpose:?}"
            );
            TypedPath { purpose, reason: String::new(), text: begin.display().to_string() }.is_whole()
        };
        // What is chosen can be confirmed; of a file its folder alone is no answer.
        assert!(begins(Purpose::SessionFolder, &state, "/pots/sets/LP-7"));
        assert!(begins(Purpose::SavePlan, &state, "/home/mira/LP-7-plan.json"));
        assert!(!begins(Purpose::Plate, &state, "/pots/sets/LP-7/"));
        assert!(!begins(Purpose::OpenList, &state, "/home/mira/"));
        state.list = Some(ProductList { path: "/pots/spring.csv".into(), rows: Vec::new() });
        assert!(!begins(Purpose::OpenList, &state, "/pots/"));
    }
}
