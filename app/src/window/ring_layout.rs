//! Where the places of the ring lie: seen from above, camera at the bottom.

use egui::{Pos2, Rect, Vec2, vec2};
use session_core::motion::Direction;

use super::places::Place;

/// Rows drawn at once, each on a ring of its own.
pub const MOST_RINGS: usize = 3;
/// The distance from one row's ring to the next, points.
const GAP: f32 = 23.0;
/// Room around the rings for figures and the cursor.
const RIM: f32 = 33.0;

/// The ring's measures for one drawing.
#[derive(Debug, Clone)]
pub struct RingLayout {
    /// The plate's centre.
    pub centre: Pos2,
    /// The radius of the outermost row's ring.
    pub outer: f32,
    /// The distance from one row's ring to the next.
    pub gap: f32,
    /// The distance between neighbours of each row drawn, points.
    apart: Vec<f32>,
    /// The first row drawn.
    pub first_row: usize,
    /// The rows drawn.
    pub rows: usize,
    direction: Direction,
}

impl RingLayout {
    /// Measures the ring for a square and the places in it; `focus_row` is sure to be drawn, with as many
    /// others as `most_rows` allows.
    pub fn new(
        square: Rect,
        places: &[Place],
        direction: Direction,
        focus_row: usize,
        most_rows: usize,
    ) -> Self {
        let all_rows = places.iter().map(|place| place.row + 1).max().unwrap_or(1);
        let most_rows = most_rows.clamp(1, MOST_RINGS);
        let rows = all_rows.min(most_rows);
        let first_row = focus_row.min(all_rows - 1) / most_rows * most_rows;
        let first_row = first_row.min(all_rows - rows);
        let outer = square.width().min(square.height()) / 2.0 - RIM;
        let apart = (0..rows)
            .map(|ring| (outer - ring as f32 * GAP) * closest_radians(places, first_row + ring) as f32)
            .collect();
        Self { centre: square.center(), outer, gap: GAP, apart, first_row, rows, direction }
    }

    fn apart(&self, row: usize) -> f32 {
        self.apart.get(row.saturating_sub(self.first_row)).copied().unwrap_or(GAP)
    }

    /// The radius of a row's shapes, points.
    pub fn mark(&self, row: usize) -> f32 {
        (self.apart(row) * 0.4).clamp(1.5, if self.rows == 1 { 8.0 } else { 7.0 })
    }

    /// Half the side of the square in which a place of a row can be pointed at, points.
    pub fn reach(&self, row: usize) -> f32 {
        (self.apart(row) * 0.5).clamp(2.5, if self.rows == 1 { 12.0 } else { 11.0 })
    }

    /// Whether a row is drawn.
    pub fn shows(&self, row: usize) -> bool {
        (self.first_row..self.first_row + self.rows).contains(&row)
    }

    /// The radius of a row's ring.
    pub fn radius(&self, row: usize) -> f32 {
        self.outer - row.saturating_sub(self.first_row) as f32 * self.gap
    }

    /// The radius of the plate within the rings.
    pub fn plate_radius(&self) -> f32 {
        self.radius(self.first_row + self.rows - 1) - 22.0
    }

    /// The way from the centre to an angle along the plan's direction: 0° points at the camera, at
    /// the bottom; anticlockwise runs to the right from there.
    pub fn towards(&self, degrees: f64) -> Vec2 {
        let turned = degrees.to_radians() * self.direction.sign() as f64;
        vec2(turned.sin() as f32, turned.cos() as f32)
    }

    /// The angle along the plan's direction at which a point lies, degrees.
    pub fn degrees_at(&self, point: Pos2) -> f64 {
        let way = point - self.centre;
        f64::from(way.x).atan2(f64::from(way.y)).to_degrees() * self.direction.sign() as f64
    }

    /// Where a place lies.
    pub fn at(&self, place: &Place) -> Pos2 {
        self.centre + self.towards(place.degrees) * self.radius(place.row)
    }
}

/// The smallest angle between neighbours of a row, radians.
fn closest_radians(places: &[Place], row: usize) -> f64 {
    let mut degrees: Vec<f64> =
        places.iter().filter(|place| place.row == row).map(|place| place.degrees).collect();
    degrees.sort_by(f64::total_cmp);
    if let (Some(first), true) = (degrees.first().copied(), degrees.len() > 1) {
        degrees.push(first + 360.0);
    }
    let gaps = degrees.windows(2).map(|pair| (pair[1] - pair[0]).to_radians());
    gaps.fold(0.35, f64::min).max(0.001)
}

#[cfg(test)]
mod tests {
    use super::super::places::lay_out;
    use super::*;
    use session_core::plan::Plan;

    fn layout(direction: Direction, stops: u32) -> (RingLayout, Vec<Place>) {
        let plan = Plan { direction, ..Plan::single_row("LP", stops) };
        let places = lay_out(&plan, &plan.stops("2026-01-31").unwrap(), None);
        let square = Rect::from_min_size(Pos2::ZERO, Vec2::splat(300.0));
        (RingLayout::new(square, &places, direction, 0, MOST_RINGS), places)
    }

    #[test]
    fn anticlockwise_runs_right_from_the_camera() {
        // Seen from above with the camera at the bottom, a quarter turn against the clock carries
        // what faced the camera to the right.
        let (ring, places) = layout(Direction::Anticlockwise, 4);
        let at: Vec<Vec2> = places.iter().map(|place| ring.at(place) - ring.centre).collect();
        assert!(at[0].y > 100.0 && at[1].x > 100.0 && at[2].y < -100.0 && at[3].x < -100.0);
        let (ring, places) = layout(Direction::Clockwise, 4);
        assert!((ring.at(&places[1]) - ring.centre).x < -100.0);
    }

    #[test]
    fn a_point_lies_at_the_angle_it_was_put_at() {
        for direction in [Direction::Anticlockwise, Direction::Clockwise] {
            let (ring, places) = layout(direction, 12);
            for place in &places {
                let off = ring.degrees_at(ring.at(place)) - place.degrees;
                assert!((off + 180.0).rem_euclid(360.0) - 180.0 < 1e-3, "{direction:?} {off}");
            }
        }
    }

    #[test]
    fn neighbours_never_cover_each_other() {
        for stops in [2, 24, 72, 144, 360] {
            let (ring, places) = layout(Direction::Anticlockwise, stops);
            let apart = ring.at(&places[0]).distance(ring.at(&places[1]));
            assert!(ring.mark(0) * 2.0 <= apart.max(3.0), "{stops} stops: {} of {apart}", ring.mark(0));
        }
    }
}
