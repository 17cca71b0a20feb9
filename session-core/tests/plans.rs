//! Plans: what they yield, and what they refuse with which reason.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use session_core::angle::Angle;
use session_core::file_name::NamePattern;
use session_core::motion::Direction;
use session_core::plan::{Plan, PlanError, PlanField, Row};

const DATE: &str = "2026-03-14";

fn stems(plan: &Plan) -> Vec<String> {
    plan.stops(DATE).unwrap().into_iter().map(|stop| stop.file_stem).collect()
}

fn degrees(plan: &Plan) -> Vec<String> {
    plan.stops(DATE).unwrap().into_iter().map(|stop| stop.angle.wrapped().short_degrees()).collect()
}

#[test]
fn a_full_turn_ends_one_part_before_its_start() {
    assert_eq!(degrees(&Plan::single_row("LH-1", 4)), ["0", "90", "180", "270"]);
}

#[test]
fn an_arc_has_a_stop_at_each_end() {
    let mut plan = Plan::single_row("LH-1", 3);
    plan.rows[0].arc = "90".parse().unwrap();
    plan.rows[0].start = "315".parse().unwrap();
    assert_eq!(degrees(&plan), ["315", "0", "45"]);
    plan.rows[0].stops = 1;
    assert_eq!(degrees(&plan), ["315"]);
}

#[test]
fn names_are_padded_so_that_they_sort_in_shooting_order() {
    let mut plan = Plan::single_row("LH-1", 1440);
    plan.rows.push(Row::full_turn("high", 12));
    plan.file_name = NamePattern("{sku}_{stop}".to_owned());
    let names = stems(&plan);
    let mut sorted = names.clone();
    sorted.sort();
    assert_eq!(names, sorted);
    assert_eq!(names[0], "LH-1_0001");
    assert_eq!(names.last().unwrap(), "LH-1_1452");
}

#[test]
fn names_carry_as_many_decimals_as_the_angles_need() {
    assert_eq!(stems(&Plan::single_row("LH-1", 24))[3], "LH-1_level_04_045");
    assert_eq!(stems(&Plan::single_row("LH-1", 16))[1], "LH-1_level_02_022.5");
    assert_eq!(stems(&Plan::single_row("LH-1", 7))[1], "LH-1_level_02_051.429");
    let mut plan = Plan::single_row("LH-1", 2);
    plan.file_name = NamePattern("{date} {sku} {stop}".to_owned());
    assert_eq!(stems(&plan)[0], "2026-03-14 LH-1 01");
}

#[test]
fn left_out_stops_keep_the_numbers_of_the_others() {
    let mut plan = Plan::single_row("LH-1", 5);
    plan.rows[0].skip = vec![2, 3];
    let numbers: Vec<u32> = plan.stops(DATE).unwrap().iter().map(|stop| stop.index).collect();
    assert_eq!(numbers, [1, 4, 5]);
}

#[test]
fn a_plan_comes_back_from_json_as_it_was() {
    let mut plan = Plan::single_row("LH-1", 24);
    plan.direction = Direction::Clockwise;
    plan.rows[0].start = "360/7".parse().unwrap();
    plan.rows.push(Row { tilt_note: "30° down".to_owned(), skip: vec![1], ..Row::full_turn("high", 12) });
    assert_eq!(Plan::from_json(&plan.to_json()).unwrap(), plan);
}

#[test]
fn degrees_in_a_plan_may_be_numbers() {
    let text =
        r#"{"schema":1,"sku":"LH-1","rows":[{"name":"level","stops":4,"start_deg":22.1,"arc_deg":360}]}"#;
    let plan = Plan::from_json(text).unwrap();
    assert_eq!(plan.rows[0].start, "22.1".parse::<Angle>().unwrap());
}

#[test]
fn bad_values_are_refused_with_the_reason_and_the_field() {
    type Case = (&'static str, fn(&mut Plan), PlanField, &'static str);
    let cases: [Case; 18] = [
        ("no stops", |plan| plan.rows[0].stops = 0, PlanField::RowStops(0), "1 to 1440"),
        ("too many stops", |plan| plan.rows[0].stops = 1441, PlanField::RowStops(0), "1 to 1440"),
        ("no arc", |plan| plan.rows[0].arc = Angle::ZERO, PlanField::RowArc(0), "more than 0"),
        (
            "arc too wide",
            |plan| plan.rows[0].arc = "361".parse().unwrap(),
            PlanField::RowArc(0),
            "at most 360",
        ),
        (
            "start too far",
            |plan| plan.rows[0].start = "720".parse().unwrap(),
            PlanField::RowStart(0),
            "between -360 and 360",
        ),
        ("skip not there", |plan| plan.rows[0].skip = vec![25], PlanField::RowSkip(0), "no stop 25"),
        ("skip all", |plan| plan.rows[0].skip = (1..=24).collect(), PlanField::RowSkip(0), "leaves no stop"),
        ("no rows", |plan| plan.rows.clear(), PlanField::Whole, "1 to 36 rows"),
        ("rows alike", |plan| plan.rows.push(Row::full_turn("LEVEL", 3)), PlanField::RowName(1), "two rows"),
        ("settle negative", |plan| plan.settle_secs = -1.0, PlanField::Settle, "0 to 60"),
        ("exposure not a number", |plan| plan.exposure_secs = f64::NAN, PlanField::Exposure, "0 to 600"),
        ("SKU empty", |plan| plan.sku.clear(), PlanField::Sku, "empty"),
        ("SKU with a path", |plan| plan.sku = "a/b".to_owned(), PlanField::Sku, "path separator"),
        (
            "pattern with a path",
            |plan| plan.file_name = NamePattern("{sku}\\{stop}".to_owned()),
            PlanField::FileName,
            "path separator",
        ),
        (
            "pattern upwards",
            |plan| plan.file_name = NamePattern("..{stop}".to_owned()),
            PlanField::FileName,
            "'..'",
        ),
        (
            "unknown field",
            |plan| plan.file_name = NamePattern("{stop}{shoe}".to_owned()),
            PlanField::FileName,
            "{shoe}",
        ),
        (
            "names collide",
            |plan| plan.file_name = NamePattern("{sku}_{row}".to_owned()),
            PlanField::FileName,
            "two stops",
        ),
        (
            "over-long",
            |plan| plan.file_name = NamePattern(format!("{{stop}}{}", "x".repeat(200))),
            PlanField::FileName,
            "bytes long",
        ),
    ];
    for (what, spoil, field, words) in cases {
        let mut plan = Plan::single_row("LH-1", 24);
        spoil(&mut plan);
        let problems = plan.problems();
        assert!(
            problems.iter().any(|problem| problem.field == field && problem.message.contains(words)),
            "{what}: {problems:?}"
        );
        assert!(plan.stops(DATE).is_err(), "{what}");
    }
}

/// Names that Windows keeps for devices (Microsoft, "Naming Files, Paths, and Namespaces"; from memory).
#[test]
fn names_that_windows_reserves_are_refused() {
    for (sku, pattern) in [
        ("CON", "{sku}.{stop}"),
        ("nul", "{sku}.{stop}"),
        ("COM", "{sku}{degrees}"),
        ("x", "{stop}: {sku}"),
        ("x", "{stop}{sku}."),
        ("x", " {stop}"),
    ] {
        let mut plan = Plan::single_row(sku, 1);
        plan.file_name = NamePattern(pattern.to_owned());
        if pattern == "{sku}{degrees}" {
            plan.sku = "COM1".to_owned();
            plan.file_name = NamePattern("{sku}".to_owned());
        }
        assert!(!plan.problems().is_empty(), "{sku} {pattern}");
    }
    let mut fine = Plan::single_row("CONE", 2);
    fine.file_name = NamePattern("{sku}{stop}".to_owned());
    assert!(fine.problems().is_empty());
}

#[test]
fn a_plan_cut_short_at_any_byte_is_refused_and_never_taken_for_another() {
    let text = Plan::single_row("LH-1", 24).to_json();
    for end in 0..text.trim_end().len() {
        if text.is_char_boundary(end) {
            assert!(matches!(Plan::from_json(&text[..end]), Err(PlanError::Unreadable(_))), "cut at {end}");
        }
    }
}

#[test]
fn a_newer_plan_is_called_newer() {
    let text = Plan::single_row("LH-1", 24).to_json().replace("\"schema\": 1", "\"schema\": 2, \"lens\": 3");
    let error = Plan::from_json(&text).unwrap_err();
    assert!(matches!(error, PlanError::Newer { found: 2 }));
    assert!(error.to_string().contains("newer Roundstop"));
}

#[test]
fn angles_finer_than_can_be_kept_are_refused_and_not_worked_out_wrong() {
    for text in ["1/9223372036854775807", "1/2000000000001", "0.1234567891"] {
        let refused = text.parse::<Angle>().unwrap_err().to_string();
        assert!(refused.contains("finer than an angle is kept"), "{refused}");
    }
    // Each alone can be kept, but their stops would need both lower numbers at once.
    let mut plan = Plan::single_row("LH-1", 7);
    plan.rows[0].start = "1/999999999989".parse().unwrap();
    plan.rows[0].arc = "1/999999999961".parse().unwrap();
    let problems = plan.problems();
    assert_eq!(problems[0].field, PlanField::RowStart(0));
    assert!(problems[0].message.contains("finer than can be kept"), "{}", problems[0]);
    // The finest a person can write in decimals can be shot, and every angle comes back as written.
    let mut plan = Plan::single_row("LH-1", 1439);
    plan.rows[0].start = "0.123456789".parse().unwrap();
    for stop in plan.stops(DATE).unwrap() {
        assert_eq!(stop.angle.to_string().parse::<Angle>().unwrap(), stop.angle);
    }
}
