//! The order files were shot in, by their names or by a clock.

use std::path::Path;

/// A name cut into words and numbers, so that `IMG_9` comes before `IMG_10`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
enum Piece {
    /// A number: how many digits it has without leading zeros, then the digits.
    Number(usize, String),
    Text(String),
}

/// What sorts paths as people read them: folder by folder, numbers by their value.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct NaturalKey(Vec<Vec<Piece>>, String);

pub(super) fn natural_key(path: &Path) -> NaturalKey {
    let parts = path.iter().map(|part| pieces(&part.to_string_lossy().to_lowercase())).collect();
    // The name itself decides between IMG_1 and IMG_01.
    NaturalKey(parts, path.to_string_lossy().into_owned())
}

fn pieces(text: &str) -> Vec<Piece> {
    let mut found = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let digits = first.is_ascii_digit();
        let end = rest.find(|c: char| c.is_ascii_digit() != digits).unwrap_or(rest.len());
        let (piece, later) = rest.split_at(end);
        found.push(if digits {
            let number = piece.trim_start_matches('0');
            Piece::Number(number.len(), number.to_owned())
        } else {
            Piece::Text(piece.to_owned())
        });
        rest = later;
    }
    found
}

/// A camera's running number: the last four digits of a name, 0001 to 9999 (DCF, JEITA CP-3461).
pub(super) fn running_number(stem: &str) -> Option<(&str, u32)> {
    let at = stem.len().checked_sub(4)?;
    let (before, digits) = (stem.get(..at)?, stem.get(at..)?);
    digits.bytes().all(|byte| byte.is_ascii_digit()).then(|| Some((before, digits.parse().ok()?)))?
}

/// Where a run of ascending numbers really begins when the counter has rolled over from 9999.
///
/// No set is long enough to hold both ends of the range without having passed from one to the other.
pub(super) fn roll_over(numbers: &[u32]) -> Option<usize> {
    let at = numbers.windows(2).position(|pair| pair[1] - pair[0] > 5000)?;
    Some(at + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted(mut names: Vec<&str>) -> Vec<&str> {
        names.sort_by_key(|name| natural_key(Path::new(name)));
        names
    }

    #[test]
    fn names_sort_as_people_read_them() {
        assert_eq!(
            sorted(vec!["IMG_10.JPG", "img_9.jpg", "IMG_2.JPG", "IMG_010.JPG"]),
            ["IMG_2.JPG", "img_9.jpg", "IMG_010.JPG", "IMG_10.JPG"]
        );
        assert_eq!(
            sorted(vec!["101X/IMG_0001.JPG", "100X/IMG_9999.JPG", "99X/IMG_0500.JPG"]),
            ["99X/IMG_0500.JPG", "100X/IMG_9999.JPG", "101X/IMG_0001.JPG"]
        );
        // Longer than any integer type.
        assert_eq!(sorted(vec!["a100000000000000000000000000000000000000000.jpg", "a99.jpg"])[0], "a99.jpg");
    }

    #[test]
    fn a_roll_over_is_where_the_great_gap_is() {
        assert_eq!(roll_over(&[1, 2, 3, 9998, 9999]), Some(3));
        assert_eq!(roll_over(&[1, 2, 3, 40]), None);
        assert_eq!(roll_over(&[9998, 9999]), None);
        assert_eq!(running_number("IMG_0042"), Some(("IMG_", 42)));
        assert_eq!(running_number("DSC09999"), Some(("DSC0", 9999)));
        assert_eq!(running_number("mug"), None);
        assert_eq!(running_number("Krügé99"), None);
    }
}
