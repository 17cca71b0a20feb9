//! A set-up's results as plain sentences.

use super::Report;

/// Marked f-numbers in thirds of a stop, as on cameras (ISO 517 series and common practice).
const MARKED: [f64; 31] = [
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0, 10.0,
    11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0,
];
/// A frame filled beyond this leaves no room for straightening and cropping (common practice, no source).
const ROOMY: f64 = 0.9;

impl Report {
    /// The results in sentences, each with what to do where something is wrong.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = vec![self.depth(), self.width()];
        said.extend(self.height());
        said.extend(self.diffraction());
        said
    }

    fn depth(&self) -> String {
        let sharp = match self.sharp_to_mm {
            Some(to) => format!("Sharp from {} to {}", cm(self.sharp_from_mm), cm(to)),
            None => format!("Sharp from {} on", cm(self.sharp_from_mm)),
        };
        let swept = format!("the object sweeps from {} to {}", cm(self.near_side_mm), cm(self.far_side_mm));
        if self.sharp_all_round {
            return format!("{sharp}; {swept}: all of it is sharp at every stop.");
        }
        let focus = cm(self.best_focus_mm);
        let help = match MARKED.iter().find(|marked| **marked >= self.f_number_needed) {
            Some(enough) if *enough <= self.view.f_number => {
                format!("Focus at {focus} instead of the axis: then f/{enough} is enough.")
            }
            Some(enough) if *enough <= self.diffraction_f_number => {
                format!("f/{enough} focused at {focus} is enough.")
            }
            Some(enough) => format!(
                "f/{enough} focused at {focus} would reach, but diffraction softens everything there; move the camera back, or accept a soft near or far edge."
            ),
            None => "No common f-number is enough; move the camera back or use a shorter lens.".to_owned(),
        };
        format!("{sharp}, but {swept}: its near or far side is not sharp. {help}")
    }

    fn width(&self) -> String {
        let filled = percent(self.fills_width);
        let circle = format!("The circle it sweeps is {} wide", cm(2.0 * self.swept_radius_mm));
        if self.fills_width > 1.0 {
            let centre = if self.subject.off_centre_mm > 0.0 { " Centring the object helps." } else { "" };
            format!(
                "{circle} and needs {filled} of the frame's width: it is cut off at some stops. Move the camera back or use a shorter lens.{centre}"
            )
        } else if self.fills_width > ROOMY {
            format!(
                "{circle} and fills {filled} of the frame's width: it fits, with little room for straightening and cropping."
            )
        } else {
            format!("{circle} and fills {filled} of the frame's width: it fits at every stop.")
        }
    }

    fn height(&self) -> Option<String> {
        let fills = self.fills_height?;
        let filled = percent(fills);
        Some(if fills > 1.0 {
            format!(
                "Its height needs {filled} of the frame's height: it is cut off at some stops. Move the camera back, or turn it upright."
            )
        } else {
            format!("Its height fills {filled} of the frame's height at most.")
        })
    }

    fn diffraction(&self) -> Vec<String> {
        let mut said = Vec::new();
        let (set, limit) = (self.view.f_number, self.diffraction_f_number);
        let blur = format!("{:.3} mm", self.view.blur_mm);
        said.push(if set > limit {
            format!(
                "At f/{set} diffraction (a disc of {:.3} mm) is wider than the blur allowed ({blur}): the whole picture softens. From f/{limit:.0} on it costs sharpness.",
                self.airy_mm
            )
        } else {
            format!("Diffraction starts to cost sharpness at f/{limit:.0} (blur allowed {blur}); f/{set} is below it.")
        });
        if let Some(limit) = self.diffraction_f_number_pixels {
            let there = if set > limit { "it shows at this f-number" } else { "it does not show yet" };
            said.push(format!(
                "Looked at pixel by pixel, diffraction shows from f/{limit:.1} on (a disc of two pixels; common practice, no source): {there}."
            ));
        }
        said
    }
}

fn cm(mm: f64) -> String {
    format!("{:.1} cm", mm / 10.0)
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}
