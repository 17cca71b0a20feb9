//! The finishing room's pictures on their way to the screen, and what is kept of them.

use std::cell::Cell;
use std::collections::HashMap;

use egui::{TextureHandle, TextureOptions};
use imaging::finish::Placement;

use super::finishing_worker::{ProofImages, SMALL_PX};

/// Large pictures kept; before and after, about 16 MB each.
const MOST_LARGE: usize = 6;
/// Small pictures kept; before and after, about 1.2 MB each.
const MOST_SMALL: usize = 160;

/// A stop before and after on the screen's side.
pub struct ProofShown {
    /// As shot.
    pub before: TextureHandle,
    /// Finished, or why it is not.
    pub after: Result<TextureHandle, String>,
    /// How its row is turned and cut.
    pub placement: Placement,
    /// Whether its row's turning axis is known.
    pub axis_known: bool,
    /// What a person should know.
    pub notes: Vec<String>,
}

struct Held {
    /// The settings it was made with.
    revision: u64,
    content: Result<ProofShown, String>,
    last_look: Cell<u64>,
}

/// A picture that came in.
struct Arrived {
    revision: u64,
    stop: u32,
    edge_px: u32,
    result: Result<Box<ProofImages>, String>,
}

/// The pictures.
#[derive(Default)]
pub struct Proofs {
    large: HashMap<u32, Held>,
    small: HashMap<u32, Held>,
    arrived: Vec<Arrived>,
    looks: Cell<u64>,
}

impl Proofs {
    /// Lets go of all, as of another set.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// Takes a picture in; it is uploaded before the next drawing.
    pub fn take_in(
        &mut self,
        revision: u64,
        stop: u32,
        edge_px: u32,
        result: Result<Box<ProofImages>, String>,
    ) {
        self.arrived.push(Arrived { revision, stop, edge_px, result });
    }

    /// Uploads what has arrived.
    pub fn upload(&mut self, ctx: &egui::Context) {
        for arrived in std::mem::take(&mut self.arrived) {
            let Arrived { revision, stop, edge_px, result } = arrived;
            let upload =
                |name: &str, image| ctx.load_texture(format!("{name} {stop}"), image, TextureOptions::LINEAR);
            let content = result.map(|images| ProofShown {
                before: upload("as shot", images.before),
                after: images.after.map(|after| upload("finished", after)),
                placement: images.placement,
                axis_known: images.axis_known,
                notes: images.notes,
            });
            self.looks.set(self.looks.get() + 1);
            let held = Held { revision, content, last_look: Cell::new(self.looks.get()) };
            let (cache, most) = if edge_px > SMALL_PX {
                (&mut self.large, MOST_LARGE)
            } else {
                (&mut self.small, MOST_SMALL)
            };
            cache.insert(stop, held);
            while cache.len() > most {
                let oldest = cache.iter().min_by_key(|(_, held)| held.last_look.get()).map(|(stop, _)| *stop);
                let Some(oldest) = oldest else { break };
                cache.remove(&oldest);
            }
        }
    }

    /// The best there is of a stop: with the newest settings before large; tells whether it is both.
    pub fn look(&self, stop: u32, revision: u64) -> (Option<&Result<ProofShown, String>>, bool) {
        let newest = |held: &&Held| held.revision == revision;
        let (large, small) = (self.large.get(&stop), self.small.get(&stop));
        let best = large.filter(newest).or_else(|| small.filter(newest)).or(large).or(small);
        if let Some(held) = best {
            self.looks.set(self.looks.get() + 1);
            held.last_look.set(self.looks.get());
        }
        (best.map(|held| &held.content), large.is_some_and(|held| newest(&held)))
    }
}
