//! Quantities as people write them: a number with its unit.

/// A unit's names and what one of it is in the unit the program works in.
type Unit = (&'static [&'static str], f64);

const LENGTHS_MM: [Unit; 5] =
    [(&["mm"], 1.0), (&["cm"], 10.0), (&["m"], 1000.0), (&["in", "\""], 25.4), (&["ft", "'"], 304.8)];

const MASSES_KG: [Unit; 4] =
    [(&["g"], 0.001), (&["kg"], 1.0), (&["lb"], 0.453_592_37), (&["oz"], 0.028_349_523_125)];

/// Reads a mass such as `1.2kg` or `300g`; gives kilograms, above 0.
///
/// # Errors
/// What is wrong with the text and what would be right.
pub fn mass_kg(text: &str) -> Result<f64, String> {
    quantity(text, &MASSES_KG, "a mass such as 1.2kg or 300g")
}

/// Reads a length such as `60cm` or `0.6 m`; gives millimetres, above 0.
///
/// # Errors
/// What is wrong with the text and what would be right.
pub fn length_mm(text: &str) -> Result<f64, String> {
    quantity(text, &LENGTHS_MM, "a length such as 60cm, 600mm or 0.6m")
}

/// Reads a length that may also be 0.
///
/// # Errors
/// What is wrong with the text and what would be right.
pub fn length_or_zero_mm(text: &str) -> Result<f64, String> {
    if matches!(text.trim().parse::<f64>(), Ok(0.0)) { Ok(0.0) } else { length_mm(text) }
}

/// Reads a share such as `8` or `8 %`; gives per cent.
///
/// # Errors
/// What would be right.
pub fn percent(text: &str) -> Result<f64, String> {
    let digits = text.trim().trim_end_matches('%').trim_end();
    digits.parse().ok().filter(|share: &f64| share.is_finite()).ok_or("write per cent, such as 8".to_owned())
}

/// Reads width over height, as `1.5`, `3:2`, `3/2` or `3x2`.
///
/// # Errors
/// What would be right.
pub fn ratio(text: &str) -> Result<f64, String> {
    let number = |text: &str| text.trim().parse::<f64>().ok();
    let ratio = match text.split_once([':', '/', 'x', '×']) {
        Some((width, height)) => number(width).zip(number(height)).map(|(width, height)| width / height),
        None => number(text),
    };
    ratio
        .filter(|ratio| ratio.is_finite() && *ratio > 0.0)
        .ok_or("write width over height, such as 1, 3:2 or 1.5".to_owned())
}

/// Reads a number above 0 with one of these units after it; gives it in the program's unit.
fn quantity(text: &str, units: &[Unit], wanted: &str) -> Result<f64, String> {
    let text = text.trim();
    let digits = text.trim_end_matches(|c: char| c.is_alphabetic() || "\"'²·* ".contains(c));
    let unit = text.get(digits.len()..).unwrap_or_default().trim();
    let factor = units.iter().find(|(names, _)| names.contains(&unit)).map(|(_, factor)| *factor);
    match (digits.parse::<f64>(), factor) {
        (Ok(number), Some(factor)) if number.is_finite() && number > 0.0 => Ok(number * factor),
        (Ok(_), None) if unit.is_empty() => Err(format!("'{text}' has no unit; write {wanted}")),
        (Ok(_), None) => {
            let known: Vec<&str> = units.iter().filter_map(|(names, _)| names.first().copied()).collect();
            Err(format!("'{unit}' is no unit known here ({}); write {wanted}", known.join(", ")))
        }
        _ => Err(format!("'{text}' is not above 0 with a unit; write {wanted}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_come_in_millimetres() {
        for (text, mm) in [
            ("60cm", 600.0),
            ("0.6 m", 600.0),
            ("600mm", 600.0),
            // One inch is 25.4 mm exactly (international yard and pound agreement, 1959).
            ("2in", 50.8),
            ("1.5\"", 38.1),
            ("2ft", 609.6),
            ("1e3mm", 1000.0),
        ] {
            let read = length_mm(text).unwrap();
            assert!((read - mm).abs() < 1e-9, "{text}: {read}");
        }
        assert_eq!(length_or_zero_mm("0"), Ok(0.0));
    }

    #[test]
    fn masses_come_in_kilograms() {
        // A pound is 0.45359237 kg exactly (international yard and pound agreement, 1959).
        for (text, kg) in [("1.2kg", 1.2), ("300 g", 0.3), ("2lb", 0.907_184_74), ("16oz", 0.453_592_37)] {
            let read = mass_kg(text).unwrap();
            assert!((read - kg).abs() < 1e-12, "{text}: {read}");
        }
        assert!(mass_kg("3cm").unwrap_err().contains("a mass such as"));
        assert!(mass_kg("3").unwrap_err().contains("has no unit"));
    }

    #[test]
    fn shares_and_ratios_are_read_as_people_write_them() {
        for text in ["8", "8%", " 8 %", "8.0"] {
            assert_eq!(percent(text), Ok(8.0), "{text}");
        }
        for text in ["1.5", "3:2", "3/2", "3 x 2", "3×2"] {
            assert_eq!(ratio(text), Ok(1.5), "{text}");
        }
        for text in ["", "wide", "3:", "3:0", "0", "-1", "nan"] {
            assert!(ratio(text).unwrap_err().contains("3:2"), "{text}");
        }
        assert!(percent("much").unwrap_err().contains("per cent"));
    }

    #[test]
    fn what_is_no_length_is_said() {
        for (text, words) in [
            ("60", "has no unit"),
            ("60kg", "'kg' is no unit"),
            ("cm", "not above 0"),
            ("-6cm", "not above 0"),
            ("0cm", "not above 0"),
            ("nanm", "not above 0"),
            ("", "not above 0"),
        ] {
            let error = length_mm(text).unwrap_err();
            assert!(error.contains(words), "{text}: {error}");
        }
        assert!(length_or_zero_mm("0.5").is_err());
    }
}
