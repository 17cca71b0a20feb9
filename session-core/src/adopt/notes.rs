//! What a person should know of files before they become frames.

use std::collections::BTreeSet;

use super::{Candidate, Order, TimeSource, at, order};
use crate::camera::sniff;
use crate::plan::Stop;

/// The most single findings listed; more are counted.
const MOST: usize = 5;

/// Where the order of names and that of the clock put different files at a stop.
pub(super) fn differences(by_name: &[Candidate], by_time: &[Candidate], open: &[Stop]) -> Vec<String> {
    let found =
        open.iter().zip(by_name.iter().zip(by_time)).filter(|(_, (name, time))| name.name != time.name);
    let said = found.map(|(stop, (name, time))| {
        format!("stop {} is {} by name, {} by time", stop.index, name.name.display(), time.name.display())
    });
    shortened(said.collect())
}

/// What is odd about files in their final order.
pub(super) fn about(files: &[Candidate], clock: TimeSource, order: Order) -> Vec<String> {
    let mut said = Vec::new();
    if clock == TimeSource::FileTime {
        let without = files.iter().filter(|file| file.taken.is_none()).count();
        said.push(format!(
            "{without} of {} frames carry no time of the camera's, so the files' own times were looked at.",
            files.len()
        ));
    }
    if order == Order::Time && files.windows(2).any(|pair| at(&pair[0], clock) == at(&pair[1], clock)) {
        said.push("Some frames carry the same time; among them names decide.".to_owned());
    }
    said.extend(uneven(files));
    if let Some(first) = files.first() {
        let changed = files.iter().filter_map(|file| {
            let changes = file.settings.changes_from(&first.settings);
            let words: Vec<String> = changes.iter().map(ToString::to_string).collect();
            (!words.is_empty()).then(|| {
                format!("{} was shot otherwise than the first: {}.", file.name.display(), words.join(", "))
            })
        });
        said.extend(shortened(changed.collect()));
    }
    said
}

/// Frames that lack a file the others have.
fn uneven(files: &[Candidate]) -> Vec<String> {
    let kinds = |file: &Candidate| -> BTreeSet<String> {
        file.files.iter().filter_map(|path| sniff::extension_of(path)).collect()
    };
    let all: BTreeSet<String> = files.iter().flat_map(kinds).collect();
    let lacking = files.iter().filter_map(|file| {
        let has = kinds(file);
        let lacks: Vec<&str> = all.difference(&has).map(String::as_str).collect();
        (!lacks.is_empty())
            .then(|| format!("{} has no {} beside it, others have.", file.name.display(), lacks.join(", ")))
    });
    shortened(lacking.collect())
}

/// What may be the cause of too many or too few files.
pub(super) fn wrong_count(by_name: &[Candidate], by_time: &[Candidate], clock: TimeSource) -> String {
    let mut hints = Vec::new();
    let numbers: Vec<(String, u32)> = by_name
        .iter()
        .filter_map(|file| {
            let stem = file.name.file_stem()?.to_string_lossy().into_owned();
            let (before, number) = order::running_number(&stem)?;
            Some((before.to_owned(), number))
        })
        .collect();
    let gaps: Vec<String> = numbers
        .windows(2)
        .filter(|pair| pair[0].0 == pair[1].0 && (pair[0].1 + 2..pair[0].1 + 100).contains(&pair[1].1))
        .map(|pair| format!("{}{:04} to {}{:04}", pair[0].0, pair[0].1 + 1, pair[0].0, pair[1].1 - 1))
        .collect();
    if !gaps.is_empty() {
        hints.push(format!("the numbering leaves out {}", shortened(gaps).join(", ")));
    }
    let longest = by_time
        .windows(2)
        .map(|pair| (at(&pair[0], clock).duration_until(at(&pair[1], clock)).as_secs(), pair))
        .max_by_key(|(secs, _)| *secs);
    if let Some((secs, [before, after])) = longest
        && secs >= 60
    {
        hints.push(format!(
            "the longest pause, {} min, is between {} and {}",
            secs / 60,
            before.name.display(),
            after.name.display()
        ));
    }
    hints.push("move test shots away, or leave stops out of the plan".to_owned());
    hints.join("; ")
}

fn shortened(mut said: Vec<String>) -> Vec<String> {
    if said.len() > MOST {
        let more = said.len() - MOST;
        said.truncate(MOST);
        said.push(format!("and {more} more"));
    }
    said
}
