//! Tells whether a pattern repeats round the object: then a whole period cannot be told from
//! none.

use super::{Job, TurnFrame};

/// Columns of the unrolled picture, over a full turn.
const COLUMNS: usize = 720;
/// Rows of the unrolled picture.
const ROWS: usize = 48;
/// Correlation with itself, moved by a part of the turn, that counts as repeating.
const REPEATS: f64 = 0.72;

/// Gives the reason when the object repeats itself.
pub(super) fn reason(job: &Job<'_>, frames: &[TurnFrame]) -> Option<String> {
    let picture = unrolled(job, frames)?;
    let (lag, agreement) = strongest_repeat(&picture)?;
    (agreement > REPEATS).then(|| {
        let degrees = lag as f64 * 360.0 / COLUMNS as f64;
        format!("the object's pattern repeats about every {degrees:.0}° round the turn")
    })
}

/// Unrolls the object from the middle strip of each stop; `None` when the stops do not go
/// round.
fn unrolled(job: &Job<'_>, frames: &[TurnFrame]) -> Option<Vec<Vec<Option<f32>>>> {
    let rows: Vec<usize> = {
        let used: Vec<usize> = (0..job.radius.len()).filter(|&y| job.radius[y] > 8.0).collect();
        let (first, last) = (*used.first()?, *used.last()?);
        (0..ROWS).map(|i| first + (last - first) * (2 * i + 1) / (2 * ROWS)).collect()
    };
    let mut picture = vec![vec![None; COLUMNS]; ROWS];
    let full_turn = std::f64::consts::TAU;
    for column in 0..COLUMNS {
        let azimuth = column as f64 * full_turn / COLUMNS as f64;
        // The frame that shows this azimuth nearest to its middle.
        let off = |i: usize| {
            let d = azimuth + job.planned[i];
            (d + std::f64::consts::PI).rem_euclid(full_turn) - std::f64::consts::PI
        };
        let frame = (0..frames.len())
            .filter(|&i| job.levels[i].is_some() && !frames[i].closing)
            .min_by(|&a, &b| off(a).abs().total_cmp(&off(b).abs()))?;
        let turn = off(frame);
        if turn.abs() > 0.5 {
            continue;
        }
        let levels = job.levels[frame].as_ref()?;
        for (i, &row) in rows.iter().enumerate() {
            let radius = job.radius[row];
            let lean = (job.middle.1 - row as f64 - 0.5) * job.start.roll.tan();
            let x = job.middle.0 + job.start.x0 + lean + radius * turn.sin() - 0.5 - levels.origin.0;
            let y = row as f64 - levels.origin.1;
            if x > 1.0 && y > 1.0 && x < levels.full.width as f64 - 2.0 && y < levels.full.height as f64 - 2.0
            {
                let half = ((x as f32 - 0.5) / 2.0, (y as f32 - 0.5) / 2.0);
                if half.0 < levels.half.width as f32 - 2.0
                    && half.1 < levels.half.height as f32 - 2.0
                    && half.0 > 0.0
                    && half.1 > 0.0
                {
                    picture[i][column] = Some(levels.half.between(half.0, half.1));
                }
            }
        }
    }
    // Slow changes of light round the object are taken out: a running mean over 40°.
    let span = COLUMNS / 9;
    for row in &mut picture {
        let source = row.clone();
        for (column, value) in row.iter_mut().enumerate() {
            let (mut sum, mut n) = (0.0, 0.0);
            for d in 0..span {
                if let Some(v) = source[(column + COLUMNS + d - span / 2) % COLUMNS] {
                    sum += v;
                    n += 1.0;
                }
            }
            if let Some(v) = value {
                *v -= sum / f32::max(n, 1.0);
            }
        }
    }
    Some(picture)
}

/// Finds the turn by which the unrolled picture agrees best with itself, at least 12° away.
fn strongest_repeat(picture: &[Vec<Option<f32>>]) -> Option<(usize, f64)> {
    let energy: f64 = picture.iter().flatten().flatten().map(|v| f64::from(*v) * f64::from(*v)).sum();
    let count = picture.iter().flatten().flatten().count();
    // Next to nothing painted: not a repeat, only plain.
    if count < ROWS * COLUMNS / 3 || energy / (count as f64) < 4.0 {
        return None;
    }
    let mut best: Option<(usize, f64)> = None;
    for lag in COLUMNS / 30..=COLUMNS / 2 {
        let (mut xy, mut xx, mut yy, mut n) = (0.0, 0.0, 0.0, 0);
        for row in picture {
            for column in (0..COLUMNS).step_by(2) {
                if let (Some(a), Some(b)) = (row[column], row[(column + lag) % COLUMNS]) {
                    let (a, b) = (f64::from(a), f64::from(b));
                    xy += a * b;
                    xx += a * a;
                    yy += b * b;
                    n += 1;
                }
            }
        }
        if n * 6 < ROWS * COLUMNS {
            continue;
        }
        let agreement = xy / (xx * yy).sqrt().max(1e-9);
        if best.is_none_or(|(_, a)| agreement > a) {
            best = Some((lag, agreement));
        }
    }
    best
}
