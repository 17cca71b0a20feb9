//! Counts what was found against what was there.

use std::collections::BTreeMap;
use std::path::Path;

use imaging::check::{Flag, FlagKind, SetReport};

use crate::table::{Row, Table};
use crate::truth::{Detail, Truth};

/// Faults of one kind: what became of them.
#[derive(Default, Clone, Copy)]
struct Count {
    found: usize,
    cannot_tell: usize,
    missed: usize,
    /// Found with an amount off by more than is allowed.
    wrong: usize,
}

impl Count {
    fn all(self) -> usize {
        self.found + self.cannot_tell + self.missed + self.wrong
    }
}

/// Sums over all sets.
#[derive(Default)]
pub struct Score {
    sets: usize,
    frames: usize,
    clean_frames: usize,
    false_frames: usize,
    false_flags: BTreeMap<FlagKind, usize>,
    /// A fault that was there, and flags of another kind beside or instead of it.
    confused: usize,
    faults: BTreeMap<(&'static str, Detail), Count>,
    copies_blaming_neighbours: usize,
    column: Errors,
    lean: Errors,
    sphere_leans: usize,
    sphere_columns_missing: usize,
    off_axis: Errors,
    off_axis_outside: usize,
    closure: Errors,
    closure_with_slip: Errors,
    amount: Errors,
    plain_angles: usize,
    plain_frames: usize,
    repeat_wrong: usize,
    repeat_told: usize,
    repeat_frames: usize,
    angle: Errors,
}

#[derive(Default)]
struct Errors {
    values: Vec<f64>,
    /// Not told though the set shows enough to tell.
    untold: usize,
    /// Not told where that is the right answer.
    rightly_untold: usize,
}

impl Errors {
    fn worst(&self) -> f64 {
        self.values.iter().copied().fold(0.0, f64::max)
    }

    fn median(&self) -> f64 {
        middle(&self.values)
    }

    fn seen(&self) -> String {
        format!(
            "{} told, {} + {} not; median {:.4}, worst {:.4}",
            self.values.len(),
            self.untold,
            self.rightly_untold,
            self.median(),
            self.worst()
        )
    }
}

fn middle(values: &[f64]) -> f64 {
    let mut v = values.to_vec();
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 2).copied().unwrap_or(0.0)
}

fn kind_of(fault: &str) -> Option<(&'static str, FlagKind)> {
    Some(match fault {
        "wrong_angle" => ("wrong stop", FlagKind::WrongAngle),
        "slip" => ("slip", FlagKind::ObjectSlipped),
        "defocus" => ("defocus", FlagKind::OutOfFocus),
        "motion_blur" => ("motion blur", FlagKind::MotionBlur),
        "exposure" => ("exposure", FlagKind::ExposureOff),
        "white_balance" => ("white balance", FlagKind::WhiteBalanceOff),
        "duplicate" => ("duplicate", FlagKind::Duplicate),
        _ => return None,
    })
}

/// A fault as it should show: word, kind of flag, degrees where it has some.
type Expected = (&'static str, FlagKind, f64);

/// Two stops nearer to each other than this are the same.
const STOOD_DEG: f64 = 0.05;

/// Where each fault shows in the frames as given; a slip at a missing stop shows at the next.
fn expected(truth: &Truth) -> Vec<Vec<Expected>> {
    let mut out = vec![Vec::new(); truth.frames.len()];
    for fault in &truth.faults {
        let (Some((word, kind)), Some(index)) =
            (fault["kind"].as_str().and_then(kind_of), fault["index"].as_u64())
        else {
            continue;
        };
        if let Some(at) = truth.frames.iter().position(|f| f.planned >= index && !f.closing)
            && (truth.frames[at].planned == index || kind == FlagKind::ObjectSlipped)
        {
            // A stop that is short by a whole step stands where the one before stood: the table did not move.
            let stood = at > 0
                && (truth.frames[at].true_degrees - truth.frames[at - 1].true_degrees).abs() < STOOD_DEG;
            let (word, kind) = if stood { ("duplicate", FlagKind::Duplicate) } else { (word, kind) };
            out[at].push((word, kind, fault["deg"].as_f64().unwrap_or(f64::NAN)));
        }
    }
    out
}

impl Score {
    /// Takes one set into the count.
    pub fn take(&mut self, set: &Path, truth: &Truth, report: &SetReport) {
        self.sets += 1;
        self.frames += truth.frames.len();
        let name = set.file_name().and_then(|n| n.to_str()).unwrap_or("").to_owned();
        let expected = expected(truth);
        for (i, frame) in report.frames.iter().enumerate() {
            for fault in &expected[i] {
                self.fault(&format!("{name} frame {i}"), truth, fault, &frame.flags, frame.measured.is_err());
            }
            self.blame(&format!("{name} frame {i}"), &expected, i, &frame.flags);
        }
        self.angles(truth, report, &name);
        self.axis(truth, report, &name);
        self.closure(truth, report, &name);
    }

    fn fault(
        &mut self,
        place: &str,
        truth: &Truth,
        &(word, kind, deg): &Expected,
        flags: &[Flag],
        untold: bool,
    ) {
        let turned = matches!(kind, FlagKind::WrongAngle | FlagKind::ObjectSlipped);
        let detail = if turned { truth.detail() } else { Detail::Everywhere };
        let count = self.faults.entry((word, detail)).or_default();
        let Some(flag) = flags.iter().find(|f| f.kind == kind) else {
            let said: Vec<_> = flags.iter().map(|f| (f.kind, f.amount)).collect();
            if turned && untold {
                count.cannot_tell += 1;
                if detail == Detail::Everywhere {
                    println!("  CANNOT TELL {place} {word} {deg}; said {said:?}");
                }
            } else {
                count.missed += 1;
                println!("  MISSED {place} {word} {deg}; said {said:?}");
            }
            return;
        };
        if turned && (flag.amount - deg).abs() > 0.05 {
            count.wrong += 1;
            println!("  AMOUNT {place} {word}: {:+.3} for {deg:+.3}", flag.amount);
        } else {
            count.found += 1;
        }
        if turned {
            self.amount.values.push((flag.amount - deg).abs());
        }
    }

    fn blame(&mut self, place: &str, expected: &[Vec<Expected>], i: usize, flags: &[Flag]) {
        let here = &expected[i];
        let copy = here.iter().any(|e| e.1 == FlagKind::Duplicate);
        let blurred = [FlagKind::OutOfFocus, FlagKind::MotionBlur];
        // Defocus and motion may be named together; a copy shows what its original shows.
        let meant = |flag: &Flag| {
            let fits =
                |e: &Expected| e.1 == flag.kind || (blurred.contains(&e.1) && blurred.contains(&flag.kind));
            // Too much light takes detail from highlights, too little from shadows.
            let lost_detail =
                flag.kind == FlagKind::Clipped && here.iter().any(|e| e.1 == FlagKind::ExposureOff);
            lost_detail || here.iter().any(fits) || (copy && i > 0 && expected[i - 1].iter().any(fits))
        };
        let false_flags: Vec<&Flag> = flags.iter().filter(|f| !meant(f)).collect();
        for flag in &false_flags {
            *self.false_flags.entry(flag.kind).or_default() += 1;
            println!(
                "  FALSE {place} {:?} {} {} (there: {here:?}): {}",
                flag.kind, flag.amount, flag.unit, flag.reason
            );
        }
        let beside_copy = [i.wrapping_sub(1), i + 1]
            .iter()
            .filter_map(|&j| expected.get(j))
            .any(|e| e.iter().any(|e| e.1 == FlagKind::Duplicate));
        let wrong = usize::from(!false_flags.is_empty());
        if here.is_empty() {
            self.clean_frames += 1;
            self.false_frames += wrong;
            self.copies_blaming_neighbours += usize::from(beside_copy) * wrong;
        } else {
            self.confused += wrong;
        }
    }

    fn angles(&mut self, truth: &Truth, report: &SetReport, name: &str) {
        let off: Vec<f64> = report
            .frames
            .iter()
            .zip(&truth.frames)
            .filter_map(|(r, f)| Some(r.measured.as_ref().ok()?.degrees - f.true_degrees))
            .collect();
        // Measured degrees count from the stops' common fit with the plan.
        let shift = middle(&off);
        match truth.detail() {
            Detail::None => {
                self.plain_frames += report.frames.len();
                // An angle on a shape that turns into itself is invented whatever it says.
                let invented = if truth.is_round_or_mug() {
                    off.len()
                } else {
                    off.iter().filter(|o| (**o - shift).abs() > 0.1).count()
                };
                if invented > 0 {
                    println!("  INVENTED {name}: {invented} angles");
                }
                self.plain_angles += invented;
            }
            Detail::Repeats => {
                self.repeat_frames += report.frames.len();
                self.repeat_told += off.len();
                let wrong = off.iter().filter(|o| (**o - shift).abs() > 0.5).count();
                if wrong > 0 {
                    println!("  PERIOD {name}: {wrong} angles off");
                }
                self.repeat_wrong += wrong;
            }
            _ => {}
        }
        self.angle.values.extend(off.iter().map(|o| (o - shift).abs()));
        if truth.detail() == Detail::Everywhere {
            self.angle.untold += report.frames.iter().filter(|f| f.measured.is_err()).count();
        }
    }

    fn axis(&mut self, truth: &Truth, report: &SetReport, name: &str) {
        let sphere = truth.object == "sphere";
        let Ok(axis) = &report.axis else {
            // A plain object over a part of a turn shows its axis nowhere.
            if truth.arc_deg < 360.0 && truth.detail() != Detail::Everywhere {
                self.column.rightly_untold += 1;
            } else {
                self.column.untold += 1;
                self.sphere_columns_missing += usize::from(sphere);
                println!("  COLUMN {name} not told");
            }
            return;
        };
        let e = (axis.column_px - truth.axis_column_px).abs();
        if e > 0.3 {
            println!("  COLUMN {name} off {e:.3} ± {:.3}", axis.uncertainty_px);
        }
        self.column.values.push(e);
        match &axis.lean_deg {
            Ok((lean, _)) => {
                let e = (lean - truth.axis_lean_deg).abs();
                if e > 0.05 {
                    println!("  LEAN {name} off {e:.3}");
                }
                self.lean.values.push(e);
                self.sphere_leans += usize::from(sphere && truth.detail() == Detail::None);
            }
            Err(_) => self.lean.rightly_untold += 1,
        }
        if let (Some(off), Some(wide)) = (&axis.off_axis, truth.off_centre_percent()) {
            let e = (off.percent_of_width - wide).abs();
            // A tenth of a millimetre on an object a hundred wide is 0.1 %.
            if e > (0.02 * wide).max(0.1) {
                println!("  OFF AXIS {name} {:.2} % of width, true {wide:.2}", off.percent_of_width);
                self.off_axis_outside += 1;
            }
            self.off_axis.values.push(e);
        }
    }

    fn closure(&mut self, truth: &Truth, report: &SetReport, name: &str) {
        let slipped = truth.faults.iter().any(|f| f["kind"] == "slip");
        let errors = if slipped { &mut self.closure_with_slip } else { &mut self.closure };
        match &report.closure_deg {
            Ok((c, s)) => {
                let e = (c - truth.closure_deg).abs();
                if e > 0.02 {
                    println!("  CLOSURE {name} off {e:.3} ± {s:.3}");
                }
                errors.values.push(e);
            }
            Err(_) if truth.arc_deg < 360.0 || truth.detail() != Detail::Everywhere => {
                errors.rightly_untold += 1;
            }
            Err(_) => {
                println!("  CLOSURE {name} not told");
                errors.untold += 1;
            }
        }
    }

    /// Prints the table and returns how many limits are not met.
    #[allow(clippy::too_many_lines, reason = "a table's rows, one after another")]
    pub fn print(&self) -> usize {
        println!("\n{} sets, {} frames", self.sets, self.frames);
        let mut table = Table::default();
        let at_most = |what: &str, limit: &str, seen: String, met: bool| Row::new(what, limit, seen, met);
        // Checks that never tell anything are never wrong, and must not pass for that.
        let told = |errors: &Errors| !errors.values.is_empty();
        let closure_told = told(&self.closure) || told(&self.closure_with_slip);
        table.push(at_most(
            "axis column",
            "worst ≤ 0.5 px, median ≤ 0.1 px, always told",
            self.column.seen(),
            self.column.worst() <= 0.5 && self.column.median() <= 0.1 && self.column.untold == 0,
        ));
        table.push(at_most(
            "axis lean",
            "≤ 0.05° or cannot tell",
            self.lean.seen(),
            self.lean.worst() <= 0.05 && told(&self.lean),
        ));
        table.push(at_most(
            "plain sphere",
            "no lean, but a column",
            format!("{} leans, {} spheres without column", self.sphere_leans, self.sphere_columns_missing),
            self.sphere_leans + self.sphere_columns_missing == 0,
        ));
        table.push(at_most(
            "distance from the axis",
            "≤ 2 % or 0.1 % of width",
            format!("{}; {} outside", self.off_axis.seen(), self.off_axis_outside),
            self.off_axis_outside == 0 && told(&self.off_axis),
        ));
        let order = [
            ("wrong stop", 0.99),
            ("slip", 0.98),
            ("defocus", 0.99),
            ("motion blur", 0.99),
            ("exposure", 0.99),
            ("white balance", 0.99),
            ("duplicate", 1.0),
        ];
        for (word, share) in order {
            for ((_, detail), c) in self.faults.iter().filter(|((w, _), _)| *w == word) {
                let everywhere = *detail == Detail::Everywhere;
                // Where there is little to see, saying so is right; saying something wrong is not.
                let met = if everywhere {
                    c.found as f64 >= share * c.all() as f64
                } else {
                    c.missed + c.wrong == 0
                };
                table.push(Row::new(
                    &format!("{word}{}", detail.suffix()),
                    &if everywhere {
                        format!("≥ {:.0} % found", share * 100.0)
                    } else {
                        "found or cannot tell".into()
                    },
                    format!(
                        "{} of {} found, {} cannot tell, {} missed, {} amount off",
                        c.found,
                        c.all(),
                        c.cannot_tell,
                        c.missed,
                        c.wrong
                    ),
                    met,
                ));
            }
        }
        table.push(at_most(
            "amount of a wrong stop or slip",
            "≤ 0.05°",
            self.amount.seen(),
            self.amount.worst() <= 0.05 && told(&self.amount),
        ));
        table.push(at_most(
            "closure",
            "≤ 0.02°",
            self.closure.seen(),
            self.closure.worst() <= 0.02 && closure_told,
        ));
        table.push(at_most(
            "closure with a slip",
            "≤ 0.02°",
            self.closure_with_slip.seen(),
            self.closure_with_slip.worst() <= 0.02 && closure_told,
        ));
        table.push(at_most(
            "plain objects",
            "0 invented angles",
            format!("{} invented on {} frames", self.plain_angles, self.plain_frames),
            self.plain_angles == 0,
        ));
        table.push(at_most(
            "pattern that repeats",
            "right or cannot tell",
            format!(
                "{} wrong, {} told of {} frames",
                self.repeat_wrong, self.repeat_told, self.repeat_frames
            ),
            self.repeat_wrong == 0,
        ));
        table.push(at_most(
            "a copy's neighbours",
            "not blamed",
            format!("{} blamed", self.copies_blaming_neighbours),
            self.copies_blaming_neighbours == 0,
        ));
        let share = self.false_frames as f64 / self.clean_frames.max(1) as f64;
        table.push(at_most(
            "false flags over clean frames",
            "≤ 0.5 %",
            format!(
                "{} of {} ({:.2} %); {} more beside a true fault; {:?}",
                self.false_frames,
                self.clean_frames,
                share * 100.0,
                self.confused,
                self.false_flags
            ),
            share <= 0.005,
        ));
        println!("(angles of stops with detail, no limit: {})", self.angle.seen());
        table.print()
    }
}
