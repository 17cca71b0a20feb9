//! Colours as people see them: CIE L*a*b* and the CIEDE2000 difference.

/// A colour in CIE L*a*b* (CIE 15:2004), white point D65, 2° observer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lab {
    /// Lightness, 0 to 100.
    pub l: f64,
    /// Green to red.
    pub a: f64,
    /// Blue to yellow.
    pub b: f64,
}

impl Lab {
    /// Converts linear sRGB (0 to 1); primaries and white of IEC 61966-2-1.
    pub fn from_linear_srgb(rgb: [f64; 3]) -> Self {
        let [r, g, b] = rgb;
        let x = 0.412_456_4 * r + 0.357_576_1 * g + 0.180_437_5 * b;
        let y = 0.212_672_9 * r + 0.715_152_2 * g + 0.072_175 * b;
        let z = 0.019_333_9 * r + 0.119_192 * g + 0.950_304_1 * b;
        let f = |t: f64| if t > 216.0 / 24_389.0 { t.cbrt() } else { (24_389.0 / 27.0 * t + 16.0) / 116.0 };
        let (fx, fy, fz) = (f(x / 0.950_47), f(y), f(z / 1.088_83));
        Self { l: 116.0 * fy - 16.0, a: 500.0 * (fx - fy), b: 200.0 * (fy - fz) }
    }

    /// Converts 8-bit sRGB.
    pub fn from_srgb(rgb: [u8; 3]) -> Self {
        Self::from_linear_srgb(rgb.map(|v| crate::srgb::to_linear(f64::from(v) / 255.0)))
    }
}

/// Returns the CIEDE2000 difference with all factors 1, after Sharma, Wu and Dalal, Color Res. Appl.
/// 30:21 (2005).
pub fn ciede2000(one: Lab, two: Lab) -> f64 {
    let power7 = |v: f64| v.powi(7);
    let (c1, c2) = (one.a.hypot(one.b), two.a.hypot(two.b));
    let mean = f64::midpoint(c1, c2);
    let g = 0.5 * (1.0 - (power7(mean) / (power7(mean) + power7(25.0))).sqrt());
    let (a1, a2) = ((1.0 + g) * one.a, (1.0 + g) * two.a);
    let (c1, c2) = (a1.hypot(one.b), a2.hypot(two.b));
    let hue =
        |a: f64, b: f64| if a == 0.0 && b == 0.0 { 0.0 } else { b.atan2(a).to_degrees().rem_euclid(360.0) };
    let (h1, h2) = (hue(a1, one.b), hue(a2, two.b));
    let dl = two.l - one.l;
    let dc = c2 - c1;
    let grey = c1 * c2 == 0.0;
    let dh = if grey {
        0.0
    } else {
        match h2 - h1 {
            d if d > 180.0 => d - 360.0,
            d if d < -180.0 => d + 360.0,
            d => d,
        }
    };
    let dh = 2.0 * (c1 * c2).sqrt() * (dh.to_radians() / 2.0).sin();
    let l = f64::midpoint(one.l, two.l);
    let c = f64::midpoint(c1, c2);
    let h = if grey {
        h1 + h2
    } else if (h1 - h2).abs() <= 180.0 {
        f64::midpoint(h1, h2)
    } else if h1 + h2 < 360.0 {
        (h1 + h2 + 360.0) / 2.0
    } else {
        (h1 + h2 - 360.0) / 2.0
    };
    let cos = |degrees: f64| degrees.to_radians().cos();
    let t = 1.0 - 0.17 * cos(h - 30.0) + 0.24 * cos(2.0 * h) + 0.32 * cos(3.0 * h + 6.0)
        - 0.20 * cos(4.0 * h - 63.0);
    let turn = 30.0 * (-((h - 275.0) / 25.0).powi(2)).exp();
    let rc = 2.0 * (power7(c) / (power7(c) + power7(25.0))).sqrt();
    let off = (l - 50.0) * (l - 50.0);
    let sl = 1.0 + 0.015 * off / (20.0 + off).sqrt();
    let sc = 1.0 + 0.045 * c;
    let sh = 1.0 + 0.015 * c * t;
    let rt = -(2.0 * turn).to_radians().sin() * rc;
    let (x, y, z) = (dl / sl, dc / sc, dh / sh);
    (x * x + y * y + z * z + rt * y * z).sqrt()
}
