//! Languages besides English: files of messages that lie beside the window's settings, in `locales`.
//!
//! `de.ftl` there is offered as `de`. A file is made from `app/locales/en.ftl`; what it lacks is said in English.

use std::path::{Path, PathBuf};

use unic_langid::LanguageIdentifier;

use super::text::{self, t};

/// The folder with the files, beside the settings.
pub fn folder(settings: &Path) -> PathBuf {
    settings.with_file_name("locales")
}

/// The languages that files are there for, by their tags (BCP 47) in order.
pub fn found(folder: &Path) -> Vec<String> {
    let Ok(files) = std::fs::read_dir(folder) else { return Vec::new() };
    let paths = files.flatten().map(|file| file.path());
    let messages = paths.filter(|path| path.extension().is_some_and(|kind| kind == "ftl"));
    let tags = messages.filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()));
    let mut tags: Vec<String> = tags.filter(|tag| tag.parse::<LanguageIdentifier>().is_ok()).collect();
    tags.sort();
    tags
}

/// Has the window speak this language; to be called before it is made.
///
/// # Errors
/// Why it stays with English.
pub fn speak(folder: &Path, tag: &str) -> Result<(), String> {
    let path = folder.join(format!("{tag}.ftl"));
    let refused =
        |reason: String| t!("languages-refused", path = path.display().to_string(), reason = reason);
    let language = tag.parse::<LanguageIdentifier>().map_err(|error| refused(error.to_string()))?;
    let messages = std::fs::read_to_string(&path).map_err(|error| refused(error.to_string()))?;
    text::choose(language, messages);
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::disallowed_methods)]
    use super::*;

    #[test]
    fn only_files_named_by_a_language_are_offered() {
        let home = tempfile::tempdir().unwrap();
        let folder = folder(&home.path().join("settings.json"));
        assert_eq!(found(&folder), Vec::<String>::new());
        std::fs::create_dir(&folder).unwrap();
        for name in ["fr.ftl", "de-AT.ftl", "notes.txt", "no language.ftl"] {
            std::fs::write(folder.join(name), "caption-retake = x\n").unwrap();
        }
        assert_eq!(found(&folder), ["de-AT", "fr"]);
        assert!(speak(&folder, "nl").unwrap_err().contains("nl.ftl"));
    }
}
