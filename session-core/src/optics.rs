//! Depth of field, framing and diffraction for an object that turns.
//!
//! Thin lens, symmetric pupils; distances are measured from the lens (its front principal plane, about
//! the middle of a plain lens), not from the front glass. The object is taken as everything inside the
//! circle it sweeps: whatever its shape, at some stop it reaches every point of that circle.

use serde::Serialize;

mod say;

/// Wavelength that diffraction is reckoned with, millimetres: green, where the eye is most sensitive
/// by day (555 nm, CIE 1924 luminous efficiency, rounded).
pub const WAVELENGTH_MM: f64 = 0.000_55;

/// Camera and lens.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct View {
    /// Width of the sensor as the camera is held, millimetres.
    pub sensor_width_mm: f64,
    /// Height of the sensor, millimetres.
    pub sensor_height_mm: f64,
    /// Focal length, millimetres.
    pub focal_mm: f64,
    /// The f-number set.
    pub f_number: f64,
    /// From the lens to the table's axis, where the lens is focused, millimetres.
    pub distance_mm: f64,
    /// The largest blur that still counts as sharp, millimetres on the sensor.
    pub blur_mm: f64,
    /// Width of one pixel on the sensor, millimetres, when known.
    pub pixel_mm: Option<f64>,
}

/// What stands on the table.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Subject {
    /// The widest way across it, seen from above, millimetres; a box's diagonal.
    pub width_mm: f64,
    /// Its height, millimetres.
    pub height_mm: Option<f64>,
    /// How far its middle stands off the axis, millimetres.
    pub off_centre_mm: f64,
}

/// Says why a set-up cannot be worked out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum OpticsError {
    /// A figure is not a positive number.
    #[error("{0} must be a number above 0")]
    NotPositive(&'static str),
    /// The lens cannot focus there.
    #[error("a lens of {focal_mm} mm focuses nothing at {distance_mm} mm; move the camera back")]
    TooClose {
        /// The focal length.
        focal_mm: f64,
        /// The distance.
        distance_mm: f64,
    },
    /// The object would hit the lens.
    #[error(
        "the object sweeps {radius_mm:.0} mm around the axis and the lens is {distance_mm:.0} mm from it: they collide; move the camera back"
    )]
    Collides {
        /// The circle's radius.
        radius_mm: f64,
        /// The distance.
        distance_mm: f64,
    },
}

/// The common allowance for blur: the sensor's diagonal over 1500, millimetres (common practice, no source).
pub fn common_blur_mm(sensor_width_mm: f64, sensor_height_mm: f64) -> f64 {
    sensor_width_mm.hypot(sensor_height_mm) / 1500.0
}

/// Hyperfocal distance, millimetres: H = f² / (N c) + f.
///
/// Source: S. F. Ray, Applied Photographic Optics, 3rd ed. 2002, chapter on depth of field (formula from memory).
pub fn hyperfocal_mm(focal_mm: f64, f_number: f64, blur_mm: f64) -> f64 {
    focal_mm * focal_mm / (f_number * blur_mm) + focal_mm
}

/// Near and far limit of what is sharp, millimetres; the far one is infinite beyond the hyperfocal distance.
///
/// s (H − f) / (H + s − 2 f) and s (H − f) / (H − s); source as [`hyperfocal_mm`].
pub fn sharp_from_to_mm(focal_mm: f64, f_number: f64, blur_mm: f64, distance_mm: f64) -> (f64, f64) {
    let h = hyperfocal_mm(focal_mm, f_number, blur_mm);
    let near = distance_mm * (h - focal_mm) / (h + distance_mm - 2.0 * focal_mm);
    let far = if distance_mm < h { distance_mm * (h - focal_mm) / (h - distance_mm) } else { f64::INFINITY };
    (near, far)
}

/// Size on the sensor over size in the world, at the distance in focus: m = f / (s − f).
pub fn magnification(focal_mm: f64, distance_mm: f64) -> f64 {
    focal_mm / (distance_mm - focal_mm)
}

/// Diameter of the Airy disc to its first dark ring on the sensor, millimetres: 2.44 λ N (1 + m).
///
/// Source: E. Hecht, Optics, chapter on diffraction (first zero at 1.22 λ f/D; formula from memory); N (1 + m) is the
/// working f-number at close range.
pub fn airy_mm(f_number: f64, magnification: f64) -> f64 {
    2.44 * WAVELENGTH_MM * f_number * (1.0 + magnification)
}

/// The f-number that makes a depth just sharp, and the distance to focus at for it, millimetres.
///
/// The blur of a point at D with focus at s is f² |D − s| / (N (s − f) D); it is the same at `near` and
/// `far` for their harmonic mean.
pub fn f_number_for_depth(focal_mm: f64, blur_mm: f64, near_mm: f64, far_mm: f64) -> (f64, f64) {
    let focus = 2.0 * near_mm * far_mm / (near_mm + far_mm);
    let n = focal_mm * focal_mm / (focus - focal_mm) * (far_mm - near_mm) / (near_mm + far_mm) / blur_mm;
    (n, focus)
}

/// What comes of a set-up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// The set-up.
    pub view: View,
    /// The object.
    pub subject: Subject,
    /// Radius of the circle the object sweeps, millimetres.
    pub swept_radius_mm: f64,
    /// Magnification at the axis.
    pub magnification: f64,
    /// Hyperfocal distance, millimetres.
    pub hyperfocal_mm: f64,
    /// Nearest distance that is sharp, millimetres.
    pub sharp_from_mm: f64,
    /// Farthest distance that is sharp, millimetres; `None` for infinity.
    pub sharp_to_mm: Option<f64>,
    /// The circle's side nearest to the lens, millimetres.
    pub near_side_mm: f64,
    /// The circle's side farthest from the lens, millimetres.
    pub far_side_mm: f64,
    /// Whether every point of the circle is sharp.
    pub sharp_all_round: bool,
    /// The smallest f-number at which it would be, focused as below.
    pub f_number_needed: f64,
    /// The distance to focus at for the best use of the depth, millimetres.
    pub best_focus_mm: f64,
    /// How much of the frame's width the circle fills; more than 1 is cut off.
    pub fills_width: f64,
    /// How much of the frame's height the object fills at the circle's near side, the camera level
    /// with its middle.
    pub fills_height: Option<f64>,
    /// Diameter of the Airy disc, millimetres.
    pub airy_mm: f64,
    /// The f-number at which the Airy disc is as wide as the blur allowed.
    pub diffraction_f_number: f64,
    /// The f-number at which it is two pixels wide.
    pub diffraction_f_number_pixels: Option<f64>,
}

impl Report {
    /// Works out a set-up.
    ///
    /// # Errors
    /// [`OpticsError`] for figures that no camera can have.
    pub fn new(view: View, subject: Subject) -> Result<Self, OpticsError> {
        for (name, value) in [
            ("the sensor's width", view.sensor_width_mm),
            ("the sensor's height", view.sensor_height_mm),
            ("the focal length", view.focal_mm),
            ("the f-number", view.f_number),
            ("the distance", view.distance_mm),
            ("the blur allowed", view.blur_mm),
            ("the pixel's width", view.pixel_mm.unwrap_or(1.0)),
            ("the object's width", subject.width_mm),
            ("the object's height", subject.height_mm.unwrap_or(1.0)),
        ] {
            if !(value.is_finite() && value > 0.0) {
                return Err(OpticsError::NotPositive(name));
            }
        }
        if !(subject.off_centre_mm.is_finite() && subject.off_centre_mm >= 0.0) {
            return Err(OpticsError::NotPositive("the way off centre"));
        }
        let View { focal_mm, f_number, distance_mm, blur_mm, .. } = view;
        if distance_mm <= focal_mm {
            return Err(OpticsError::TooClose { focal_mm, distance_mm });
        }
        let radius_mm = subject.width_mm / 2.0 + subject.off_centre_mm;
        let (near_side, far_side) = (distance_mm - radius_mm, distance_mm + radius_mm);
        if near_side <= focal_mm {
            return Err(OpticsError::Collides { radius_mm, distance_mm });
        }
        let m = magnification(focal_mm, distance_mm);
        let (near, far) = sharp_from_to_mm(focal_mm, f_number, blur_mm, distance_mm);
        let (f_number_needed, best_focus_mm) = f_number_for_depth(focal_mm, blur_mm, near_side, far_side);
        // The image of anything at distance D is v / D times its size, v being the image distance.
        let v = focal_mm * (1.0 + m);
        // The circle is seen along its tangents, which touch it before its middle.
        let half_width = v * radius_mm / (distance_mm * distance_mm - radius_mm * radius_mm).sqrt();
        let airy_of_one = airy_mm(1.0, m);
        Ok(Self {
            view,
            subject,
            swept_radius_mm: radius_mm,
            magnification: m,
            hyperfocal_mm: hyperfocal_mm(focal_mm, f_number, blur_mm),
            sharp_from_mm: near,
            sharp_to_mm: far.is_finite().then_some(far),
            near_side_mm: near_side,
            far_side_mm: far_side,
            sharp_all_round: near <= near_side && far >= far_side,
            f_number_needed,
            best_focus_mm,
            fills_width: 2.0 * half_width / view.sensor_width_mm,
            fills_height: subject.height_mm.map(|height| v * height / near_side / view.sensor_height_mm),
            airy_mm: airy_mm(f_number, m),
            diffraction_f_number: blur_mm / airy_of_one,
            diffraction_f_number_pixels: view.pixel_mm.map(|pixel| 2.0 * pixel / airy_of_one),
        })
    }
}
