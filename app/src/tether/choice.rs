//! Finds what a person typed among a camera's own words.

/// The choice meant by `wanted`: word for word, or but for case, or for the `f/` and `s` that some add.
///
/// Invalid choices must be caught here: libgphoto2 hands them on to the camera.
pub fn find<'a>(choices: &'a [String], wanted: &str) -> Option<&'a String> {
    let wanted = wanted.trim();
    choices
        .iter()
        .find(|choice| *choice == wanted)
        .or_else(|| choices.iter().find(|choice| choice.eq_ignore_ascii_case(wanted)))
        .or_else(|| {
            let bare = |text: &str| {
                let text = text.to_lowercase();
                let text = text.strip_prefix("f/").unwrap_or(&text);
                text.strip_suffix('s').unwrap_or(text).to_owned()
            };
            let same = |choice: &&String| {
                bare(choice) == bare(wanted)
                    || number(&bare(choice)).is_some_and(|value| Some(value) == number(&bare(wanted)))
            };
            let mut fitting = choices.iter().filter(same);
            // Two that fit would be a guess.
            fitting.next().filter(|_| fitting.next().is_none())
        })
}

/// A number or a fraction such as `1/60`, to a tenth of a per cent of a stop's width.
fn number(text: &str) -> Option<i64> {
    let value = match text.split_once('/') {
        Some((over, under)) => over.trim().parse::<f64>().ok()? / under.trim().parse::<f64>().ok()?,
        None => text.trim().parse().ok()?,
    };
    (value.is_finite() && value > 0.0).then(|| (value.ln() * 1000.0).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::find;

    fn choices(words: &[&str]) -> Vec<String> {
        words.iter().map(|word| (*word).to_owned()).collect()
    }

    #[test]
    fn words_of_cameras_are_found_as_people_type_them() {
        let shutter = choices(&["0.0010s", "0.2500s", "0.5000s"]);
        let aperture = choices(&["f/4", "f/5.6", "f/11"]);
        let balance = choices(&["Automatic", "Daylight"]);
        let fractions = choices(&["1/4", "1/60", "30", "Bulb"]);
        for (choices, typed, meant) in [
            (&shutter, "0.2500s", Some("0.2500s")),
            (&shutter, "0.25", Some("0.2500s")),
            (&shutter, "1/4", Some("0.2500s")),
            (&shutter, "1/5", None),
            (&aperture, "11", Some("f/11")),
            (&aperture, "5.6", Some("f/5.6")),
            (&aperture, "f/8", None),
            (&balance, "daylight", Some("Daylight")),
            (&balance, "day", None),
            (&fractions, "1/60", Some("1/60")),
            (&fractions, "0.25", Some("1/4")),
            (&fractions, "bulb", Some("Bulb")),
            (&fractions, "", None),
        ] {
            assert_eq!(find(choices, typed).map(String::as_str), meant, "{typed}");
        }
    }

    #[test]
    fn what_could_mean_two_choices_means_none() {
        assert_eq!(find(&choices(&["0.25s", "1/4"]), "0.250"), None);
    }
}
