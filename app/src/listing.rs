//! Joins a session folder with finishing and export: what is read, what is made anew, what is written.
//!
//! Invariant: originals are only read. A picture's key (the original's digest and all that it is made with) is
//! written into the picture; where a file with the same key lies, nothing is made. So any of this may be
//! killed and run again.

mod batch;
mod export;
mod finish;
mod folder;
mod measured;
mod proof;
mod sequence;
mod set;
mod settings;
mod size;
mod small;

pub use batch::{Meter, Progress, Stage};
pub use export::{ExportOrder, ExportReport, OWN_PROFILES, export, read_profile};
pub use finish::{FinishReport, finish, finished_folder};
pub use proof::{ProofSet, StopProof};
pub use set::{KeptSet, SetFrame, SetRow};
pub use settings::{FinishingFile, read_finishing, write_finishing};
pub use size::ListingSize;

/// Changes whenever the same settings give other pixels than before.
const RECIPE: u32 = 12;

/// SHA-256 in hexadecimal digits.
fn digest(parts: &[&[u8]]) -> String {
    use sha2::{Digest, Sha256};
    let mut hash = Sha256::new();
    for part in parts {
        // Lengths between the parts, so that no two lists of parts run together.
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part);
    }
    hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

/// SHA-256 of one file's bytes, hexadecimal.
fn file_digest(bytes: &[u8]) -> String {
    use sha2::{Digest, Sha256};
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

/// Finds the key that a picture carries in its XMP.
fn key_in(bytes: &[u8]) -> Option<&str> {
    const OPEN: &[u8] = b"<rs:madeFrom>";
    let at = bytes.windows(OPEN.len()).position(|w| w == OPEN)? + OPEN.len();
    let key = bytes.get(at..at + 64)?;
    std::str::from_utf8(key).ok().filter(|k| k.bytes().all(|b| b.is_ascii_hexdigit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST FIPS 180-4, the example 'abc'.
    #[test]
    fn digests_are_sha_256() {
        assert_eq!(file_digest(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_ne!(digest(&[b"ab", b"c"]), digest(&[b"a", b"bc"]));
    }

    #[test]
    fn a_key_is_read_back_and_a_cut_one_is_none() {
        let key = digest(&[b"x"]);
        let text = format!("...<rs:madeFrom>{key}</rs:madeFrom>...");
        assert_eq!(key_in(text.as_bytes()), Some(key.as_str()));
        assert_eq!(key_in(&text.as_bytes()[..40]), None);
        assert_eq!(key_in(b"nothing"), None);
    }
}
