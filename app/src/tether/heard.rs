//! What the camera has said, and which exposure it belongs to.
//!
//! Neither the order of a camera's events nor their number can be relied on: the end of a capture may be told
//! late or never, a RAW file may come after the next exposure has begun, and names may repeat.

use std::path::Path;

use session_core::camera::sniff;

use super::wire::{CardFile, News};

/// The camera's words about the present exposure and the one before.
#[derive(Debug, Default)]
pub struct Heard {
    /// Files of the present exposure, each once, in the order they were told.
    pub files: Vec<CardFile>,
    /// The files of the exposure before.
    before: Vec<CardFile>,
    /// Files that came after their exposure had been closed.
    late: Vec<CardFile>,
    /// Captures whose end has not been told: the next word of an end may be about the oldest of these.
    ends_owed: u32,
}

impl Heard {
    /// Begins an exposure: the shutter has been fired.
    pub fn begin(&mut self) {
        self.ends_owed += 1;
    }

    /// Closes an exposure of which so many files have been copied; others count as late.
    pub fn close(&mut self, copied: usize) {
        self.before = self.files.drain(..copied.min(self.files.len())).collect();
    }

    /// Forgets what a camera opened anew will never tell.
    pub fn start_anew(&mut self) {
        self.ends_owed = 0;
    }

    /// Takes the files that belong to no exposure any more.
    pub fn take_late(&mut self) -> Vec<CardFile> {
        self.late.append(&mut self.files);
        std::mem::take(&mut self.late)
    }

    /// Takes in news; tells whether they prove that the present exposure has ended.
    pub fn hear(&mut self, news: Vec<News>) -> bool {
        let mut ended = false;
        for item in news {
            match item {
                News::Complete => {
                    ended |= self.ends_owed == 1;
                    self.ends_owed = self.ends_owed.saturating_sub(1);
                }
                News::File(file) if !sniff::has_picture_extension(Path::new(&file.name)) => {}
                News::File(file) if self.is_late(&file) => self.late.push(file),
                News::File(file) => {
                    if !self.files.contains(&file) {
                        self.files.push(file);
                    }
                    ended = true;
                }
            }
        }
        ended
    }

    /// Whether a file goes with the exposure before: it shares its stem under a name that has not come yet. A
    /// name that has come repeats, on cameras that keep one place for the last picture.
    fn is_late(&self, file: &CardFile) -> bool {
        self.before.iter().any(|old| stem(old) == stem(file)) && !self.before.contains(file)
    }
}

/// A file's name without its extension, by which RAW and JPEG of one exposure are paired.
pub fn stem(file: &CardFile) -> Option<String> {
    Path::new(&file.name).file_stem().map(|stem| stem.to_string_lossy().to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::{CardFile, Heard, News};

    fn file(name: &str) -> CardFile {
        CardFile { folder: "/DCIM".to_owned(), name: name.to_owned() }
    }

    fn told(name: &str) -> Vec<News> {
        vec![News::File(file(name))]
    }

    #[test]
    fn a_file_or_the_end_proves_the_end_and_other_files_do_not() {
        let mut heard = Heard::default();
        heard.begin();
        assert!(!heard.hear(told("LARK0001.WAV")));
        assert!(heard.hear(told("LARK0001.JPG")));
        assert!(heard.hear(vec![News::Complete]));
        assert_eq!(heard.files, [file("LARK0001.JPG")]);
    }

    #[test]
    fn the_end_of_an_earlier_capture_is_not_the_end_of_this_one() {
        let mut heard = Heard::default();
        heard.begin();
        heard.hear(told("LARK0001.JPG"));
        heard.close(1);
        heard.begin();
        assert!(!heard.hear(vec![News::Complete]), "it is the first capture's");
        assert!(heard.hear(vec![News::Complete]));
        // A camera opened anew tells nothing of captures before.
        heard.begin();
        heard.start_anew();
        heard.begin();
        assert!(heard.hear(vec![News::Complete]));
    }

    #[test]
    fn a_late_companion_goes_to_no_exposure() {
        let mut heard = Heard::default();
        heard.begin();
        heard.hear(told("LARK0001.JPG"));
        heard.close(1);
        heard.begin();
        assert!(!heard.hear(told("lark0001.DNG")));
        assert!(heard.hear(told("LARK0002.JPG")));
        assert_eq!(heard.files, [file("LARK0002.JPG")]);
        heard.close(1);
        assert_eq!(heard.take_late(), [file("lark0001.DNG")]);
        assert!(heard.take_late().is_empty());
    }

    #[test]
    fn a_name_that_repeats_is_a_new_file() {
        let mut heard = Heard::default();
        for _ in 0..2 {
            heard.begin();
            assert!(heard.hear(told("CAPT0000.JPG")));
            assert!(heard.hear(told("CAPT0000.JPG")));
            assert_eq!(heard.files.len(), 1);
            heard.close(1);
        }
    }
}
