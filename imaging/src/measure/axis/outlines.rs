//! Outlines as seen by a camera turned to the axis.

use super::super::frame::View;

/// Where the axis stands in the picture and how strong perspective is: everything that decides how an
/// outline looks to a camera turned to the axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Pose {
    /// Column at mid height, from the picture's middle, px.
    pub column: f64,
    /// Lean in radians, top to the right positive.
    pub lean: f64,
    /// The square of one over the focal length in pixels; 0 is a view from very far.
    pub square: f64,
}

/// Rolls and pans the picture so that the axis stands upright in its middle.
pub(super) struct Turned {
    sin: f64,
    cos: f64,
    distance: f64,
    square: f64,
    upright: f64,
}

impl Turned {
    pub fn to(pose: &Pose) -> Self {
        let (sin, cos) = pose.lean.sin_cos();
        let distance = pose.column * cos;
        let upright = (1.0 + distance * distance * pose.square).sqrt();
        Self { sin, cos, distance, square: pose.square, upright }
    }

    /// Where a place (right, down from the picture's middle) is seen.
    pub fn see(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let (across, down) = (x * self.cos + y * self.sin, y * self.cos - x * self.sin);
        let depth = 1.0 + across * self.distance * self.square;
        ((across - self.distance) / depth, down * self.upright / depth)
    }
}

/// One side of an outline and its convex hull, from the top down, px from the picture's middle.
pub(super) struct Side {
    hull: Vec<(f64, f64)>,
}

impl Side {
    /// How far it reaches to the right (`way` 1) or left (−1) and down by the direction's cosine and sine.
    pub fn reach(&self, turned: &Turned, way: f64, directions: &[(f64, f64)]) -> Vec<f64> {
        let seen: Vec<(f64, f64)> = self.hull.iter().map(|p| turned.see(*p)).collect();
        directions
            .iter()
            .map(|(sin, cos)| seen.iter().map(|(x, y)| way * cos * x + sin * y).fold(f64::MIN, f64::max))
            .collect()
    }
}

/// One stop's outline.
pub(super) struct Seen {
    /// Table angle in radians.
    pub angle: f64,
    pub right: Side,
    pub left: Side,
    /// Row centre, left and right edge by row of the frame.
    pub rows: Vec<(usize, f64, f64)>,
}

/// Takes an outline; `None` when it has too few rows.
pub(super) fn take(angle: f64, view: &View, middle: (f64, f64)) -> Option<Seen> {
    let edges: Vec<(f64, f64, f64)> = view
        .outline
        .edges()
        .map(|(y, l, r)| (f64::from(y), f64::from(l) - middle.0, f64::from(r) - middle.0))
        .collect();
    // The mean of three rows: a single row's noise must not decide how far the outline reaches.
    let rows: Vec<(usize, f64, f64)> = edges
        .windows(3)
        .filter(|w| w[2].0 - w[0].0 < 2.5)
        .map(|w| (w[1].0 as usize, (w[0].1 + w[1].1 + w[2].1) / 3.0, (w[0].2 + w[1].2 + w[2].2) / 3.0))
        .collect();
    if rows.len() < 20 {
        return None;
    }
    let down = |row: usize| row as f64 + 0.5 - middle.1;
    let right = Side { hull: hull(rows.iter().map(|r| (r.2, down(r.0))), 1.0) };
    let left = Side { hull: hull(rows.iter().map(|r| (r.1, down(r.0))), -1.0) };
    Some(Seen { angle, right, left, rows })
}

/// The convex hull of points given from the top down, on the right (`way` 1) or left (−1) side.
fn hull(points: impl Iterator<Item = (f64, f64)>, way: f64) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for p in points {
        while let [.., a, b] = kept[..] {
            // b bulges out between a and p, or it is not on the hull.
            let cross = (b.0 - a.0) * (p.1 - a.1) - (p.0 - a.0) * (b.1 - a.1);
            if way * cross > 0.0 {
                break;
            }
            kept.pop();
        }
        kept.push(p);
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hull_keeps_what_bulges() {
        let points = [(0.0, 0.0), (3.0, 1.0), (1.0, 2.0), (4.0, 3.0), (0.0, 4.0)];
        assert_eq!(hull(points.into_iter(), 1.0), [(0.0, 0.0), (3.0, 1.0), (4.0, 3.0), (0.0, 4.0)]);
        let mirrored = points.map(|(x, y)| (-x, y));
        assert_eq!(hull(mirrored.into_iter(), -1.0).len(), 4);
    }

    /// The picture of a line in space that turns about its own middle: seen by a camera turned to the axis
    /// both ends stand as far from it.
    #[test]
    fn a_turned_camera_sees_the_axis_in_the_middle() {
        let focal: f64 = 1200.0;
        let (pan, lean) = (0.12_f64, 0.03_f64);
        // A point right of the axis by `x`, `y` down, at the axis' depth, seen by a panned and rolled camera.
        let seen = |x: f64, y: f64| {
            let (right, deep) = (x * pan.cos() + pan.sin(), pan.cos() - x * pan.sin());
            let (u, v) = (focal * right / deep, focal * y / deep);
            (u * lean.cos() - v * lean.sin(), u * lean.sin() + v * lean.cos())
        };
        let (a, b) = (seen(0.0, -0.2), seen(0.0, 0.2));
        let share = -a.1 / (b.1 - a.1);
        let column = a.0 + share * (b.0 - a.0);
        let turned = Turned::to(&Pose { column, lean, square: focal.powi(-2) });
        for y in [-0.3, 0.0, 0.25] {
            let (left, right) = (turned.see(seen(-0.2, y)), turned.see(seen(0.2, y)));
            assert!((left.0 + right.0).abs() < 1e-9 && (left.1 - right.1).abs() < 1e-9, "{left:?} {right:?}");
        }
    }
}
