//! The axis from outlines and patches together.

use nalgebra::{Matrix2, Matrix3, Matrix3x4, Vector2, Vector3};

use super::super::axis::{Known, OutlineAxis, Pose};
use super::super::solve::Solved;
use super::super::turn_model::Camera;
use super::{Axis, OffAxis, Told};

/// A standard uncertainty above this many measured pixels is no answer.
const COLUMN_TOLD_PX: f64 = 0.5;
/// The same for the lean, in degrees.
const LEAN_TOLD_DEG: f64 = 0.022;
/// Errors of outlines that their scatter does not show: light that draws an edge outwards or inwards.
const OUTLINE_FLOOR: [f64; 2] = [0.06, 0.0004];
/// The same for patches.
const PATCH_FLOOR: [f64; 2] = [0.02, 5e-5];
/// Patches overlap and share errors: their formal standard deviations are widened by this.
const PATCHES_WIDER: f64 = 2.0;

/// What the solved turn says of the axis and of perspective.
pub(super) fn of_patches(solved: &Solved) -> Option<Known> {
    let pose = |c: &Camera| Vector3::new(c.x0, c.lean(), c.per_px * c.per_px.max(0.0));
    let camera = solved.camera;
    let here = pose(&camera);
    let step = [1e-3, 1e-6, 1e-5, 1e-9];
    let mut by = Matrix3x4::zeros();
    for (i, h) in step.into_iter().enumerate() {
        let mut near = camera;
        *[&mut near.x0, &mut near.roll, &mut near.tilt, &mut near.per_px][i] += h;
        by.set_column(i, &((pose(&near) - here) / h));
    }
    let covariance = solved.covariance.fixed_view::<4, 4>(0, 0);
    let mut found: Matrix3<f64> = by * covariance * by.transpose() * (PATCHES_WIDER * PATCHES_WIDER);
    let [column, lean] = PATCH_FLOOR;
    // Perspective too weak to be told from none still has an uncertainty.
    let weakest = (0.02 * camera.per_px).powi(2).max(1e-9 * 1e-9);
    found += Matrix3::from_diagonal(&Vector3::new(column * column, lean * lean, weakest.powi(2)));
    let pose = Pose { column: here[0], lean: here[1], square: here[2].max(0.0) };
    Some(Known { pose, information: invert(found)? })
}

/// Inverts a covariance of column, lean and perspective, whose sizes lie far apart.
fn invert(covariance: Matrix3<f64>) -> Option<Matrix3<f64>> {
    let unit = covariance.diagonal().map(|v| v.max(0.0).sqrt());
    let scaled = Matrix3::from_fn(|i, j| covariance[(i, j)] / (unit[i] * unit[j]));
    let inverse = scaled.cholesky()?.inverse();
    Some(Matrix3::from_fn(|i, j| inverse[(i, j)] / (unit[i] * unit[j])))
}

/// Keeps of what is known only the perspective.
pub(super) fn perspective_of(known: &Known, usual: &Known) -> Option<Known> {
    let covariance = invert(known.information)?;
    let mut information = usual.information;
    information[(2, 2)] = 1.0 / covariance[(2, 2)];
    Some(Known { pose: Pose { square: known.pose.square, ..usual.pose }, information })
}

/// Joins what outlines and patches say of the axis, each by its uncertainty. `middle` is the column of the
/// picture's middle, `scale` whole-frame pixels to a measured one.
pub(super) fn axis_of(
    outline: Option<OutlineAxis>,
    patches: Option<&Known>,
    middle: f64,
    scale: f64,
) -> Told<Axis> {
    let told = outline.map(|o| {
        let mut covariance = o.covariance.fixed_view::<2, 2>(0, 0).into_owned();
        for (i, floor) in OUTLINE_FLOOR.into_iter().enumerate() {
            covariance[(i, i)] += floor * floor;
        }
        (Vector2::new(o.pose.column, o.pose.lean), covariance)
    });
    let patches = patches.and_then(|p| {
        let covariance = invert(p.information)?;
        Some((Vector2::new(p.pose.column, p.pose.lean), covariance.fixed_view::<2, 2>(0, 0).into_owned()))
    });
    let (place, covariance) = match (told, patches) {
        (Some(outline), Some(patches)) => joined(outline, patches),
        (one, other) => one.or(other),
    }
    .ok_or("no object's outline is seen over enough of the turn")?;
    let (column_sigma, lean_sigma) = (covariance[(0, 0)].sqrt(), covariance[(1, 1)].sqrt());
    if column_sigma > COLUMN_TOLD_PX {
        return Err(format!(
            "outline and detail say too little: the column is known to ± {column_sigma:.1} px only"
        ));
    }
    let lean = (lean_sigma.to_degrees() < LEAN_TOLD_DEG)
        .then(|| (place[1].to_degrees(), lean_sigma.to_degrees()))
        .ok_or_else(|| {
            "the object is too round, or shows too little detail high and low, to show a lean".to_owned()
        });
    Ok(Axis {
        column_px: (place[0] + middle) * scale,
        uncertainty_px: column_sigma * scale,
        lean_deg: lean,
        off_axis: outline.map(|a| off_axis(&a, scale)),
    })
}

type Place = (Vector2<f64>, Matrix2<f64>);

fn joined(one: Place, other: Place) -> Option<Place> {
    let (a, b) = (one.1.cholesky()?.inverse(), other.1.cholesky()?.inverse());
    let covariance = (a + b).cholesky()?.inverse();
    let place = covariance * (a * one.0 + b * other.0);
    // Where the two disagree by more than they should, the doubt is theirs.
    let apart = one.0 - other.0;
    let square = (apart.transpose() * (one.1 + other.1).cholesky()?.solve(&apart))[0] / 2.0;
    Some((place, covariance * square.max(1.0)))
}

fn off_axis(a: &OutlineAxis, scale: f64) -> OffAxis {
    let distance = a.off_axis[0].hypot(a.off_axis[1]);
    OffAxis {
        distance_px: distance * scale,
        uncertainty_px: a.off_axis_sigma * scale,
        percent_of_width: 100.0 * distance / a.object_width.max(1.0),
        move_towards_deg: (-a.off_axis[1]).atan2(-a.off_axis[0]).to_degrees().rem_euclid(360.0),
    }
}
