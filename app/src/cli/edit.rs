//! `roundstop set-aside` and `roundstop keep`: which frames are used.

use std::path::Path;

use session_core::journal::{Record, SessionFolder};

use super::{EXIT_USAGE, fault, pick, status};

/// Runs `roundstop set-aside DIR --stops …`.
pub fn set_aside(dir: &Path, text: &str) -> u8 {
    edit(dir, text, |folder, stop| {
        let key = folder.key_of(stop);
        let kept =
            folder.with_ledger(|ledger| ledger.frame(&key).is_some_and(|frame| frame.chosen.is_some()));
        if !kept {
            return Err(format!("stop {} has no frame to set aside", stop.index));
        }
        Ok(Record::SetAside { row: key.row, angle: key.angle })
    })
}

/// Runs `roundstop keep DIR --stop … --version …`.
pub fn keep(dir: &Path, text: &str, version: u32) -> u8 {
    edit(dir, text, |folder, stop| {
        let key = folder.key_of(stop);
        let versions: Vec<u32> = folder.with_ledger(|ledger| {
            ledger
                .frame(&key)
                .map(|frame| frame.versions.iter().map(|frame| frame.version).collect())
                .unwrap_or_default()
        });
        if !versions.contains(&version) {
            return Err(format!("stop {} has no version {version}; it has {versions:?}", stop.index));
        }
        Ok(Record::VersionChosen { row: key.row, angle: key.angle, version })
    })
}

/// Journals one record for each stop named, all or none.
fn edit(
    dir: &Path,
    text: &str,
    record: impl Fn(&SessionFolder, &session_core::plan::Stop) -> Result<Record, String>,
) -> u8 {
    let folder = match SessionFolder::open(dir) {
        Ok(folder) => folder,
        Err(error) => return fault(&error.into()),
    };
    let records = pick::stops(text, folder.stops()).and_then(|picked| {
        let wanted = folder.stops().iter().filter(|stop| picked.contains(&stop.index));
        wanted.map(|stop| record(&folder, stop)).collect::<Result<Vec<Record>, String>>()
    });
    let records = match records {
        Ok(records) => records,
        Err(reason) => {
            eprintln!("roundstop: {reason}");
            return EXIT_USAGE;
        }
    };
    for record in records {
        if let Err(error) = folder.append(record) {
            return fault(&error.into());
        }
    }
    println!("{}", status::summary(&folder.status()));
    super::EXIT_DONE
}
