//! Every word the window shows comes from the file of messages: with all of them marked, whatever is
//! without a mark must be a name, a figure, or a text of the session's own.
//!
//! A program of its own, for the language is chosen once.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "a test that cannot be set up has failed")]

#[allow(dead_code, reason = "shared with the other tests")]
mod fixtures;

use std::collections::BTreeSet;
use std::sync::Once;

use egui_kittest::kittest::{By, NodeT, Queryable};
use egui_kittest::{Harness, Node};
use fluent_syntax::ast::{Entry, Expression, Pattern, PatternElement, Resource};
use fluent_syntax::{parser, serializer};
use roundstop::window::finishing::{FinishingWish, Measuring};
use roundstop::window::state::State;
use roundstop::window::text;
use session_core::check::SeenAngle;
use session_core::clock::SimSpeed;
use session_core::engine::Mode;
use session_core::plan::Plan;

use fixtures::{draw, mixed, planned, start, until, window};

/// Names and figures of the demo's set, names of keys, units.
const NAMES: [&str; 16] = [
    "LP-0142",
    "Ash-glaze jug",
    "level",
    "high",
    "row",
    "{sku}",
    "{stop}",
    "{degrees}",
    "60 cm up",
    "35° down",
    "sets/",
    "jpg",
    ".json",
    "file:",
    "no-such-file",
    "v0.",
];

fn mark(pattern: &mut Pattern<String>) {
    for element in &mut pattern.elements {
        match element {
            PatternElement::TextElement { value } if value.trim().is_empty() => {}
            PatternElement::TextElement { value } => {
                let (head, tail) = (value.len() - value.trim_start().len(), value.trim_end().len());
                *value = format!("{}«{}»{}", &value[..head], &value[head..tail], &value[tail..]);
            }
            PatternElement::Placeable { expression: Expression::Select { variants, .. } } => {
                for variant in variants {
                    mark(&mut variant.value);
                }
            }
            PatternElement::Placeable { .. } => {}
        }
    }
}

/// The English messages with every piece of their text in marks.
fn marked() -> String {
    let mut messages: Resource<String> = parser::parse(text::ENGLISH.to_owned()).unwrap();
    for entry in &mut messages.body {
        if let Entry::Message(message) = entry {
            mark(message.value.as_mut().unwrap());
        }
    }
    serializer::serialize(&messages)
}

fn speak_marked() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| assert!(text::choose("en-XA".parse().unwrap(), marked())));
}

/// What is left of a text without what is in marks and without these names.
fn bare(shown: &str, names: &[&str]) -> String {
    let mut depth = 0;
    let mut left = String::new();
    for letter in shown.chars() {
        match letter {
            '«' => depth += 1,
            '»' => depth -= 1,
            letter if depth == 0 => left.push(letter),
            _ => {}
        }
    }
    for name in names.iter().chain(&NAMES) {
        left = left.replace(name, "");
    }
    left
}

/// Letters of a name such as R for a key may stand alone; a word has two together.
fn has_word(text: &str) -> bool {
    text.as_bytes().windows(2).any(|pair| pair.iter().all(u8::is_ascii_alphabetic))
}

fn texts_of(shape: &egui::Shape, into: &mut BTreeSet<String>) {
    match shape {
        egui::Shape::Text(text) => {
            into.insert(text.galley.text().to_owned());
        }
        egui::Shape::Vec(shapes) => shapes.iter().for_each(|shape| texts_of(shape, into)),
        _ => {}
    }
}

/// Everything that is read aloud or painted.
fn shown<S>(harness: &Harness<'_, S>) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    for node in harness.query_all(By::new().predicate(|_| true)) {
        let node: Node<'_> = node;
        let node = node.accesskit_node();
        all.extend(
            [node.label(), node.value(), node.description(), node.placeholder().map(str::to_owned)]
                .into_iter()
                .flatten(),
        );
    }
    harness.output().shapes.iter().for_each(|clipped| texts_of(&clipped.shape, &mut all));
    all
}

fn assert_all_marked<S>(harness: &Harness<'_, S>, what: &str, names: &[&str]) {
    let shown = shown(harness);
    assert!(shown.iter().filter(|text| text.contains('«')).count() > 10, "{what}: {shown:?}");
    let unmarked: Vec<&String> = shown.iter().filter(|text| has_word(&bare(text, names))).collect();
    assert!(unmarked.is_empty(), "{what}: not from the file of messages: {unmarked:#?}");
}

fn drawn(state: &State, what: &str, names: &[&str]) {
    fixtures::drawn(state, |harness| assert_all_marked(harness, what, names));
}

#[test]
fn the_main_states_say_nothing_but_messages() {
    speak_marked();
    drawn(&planned(), "the start", &[]);
    let mixed = mixed();
    // What the session says is the session's.
    let Mode::Fault(fault) = &mixed.mode else { panic!("no fault") };
    let message = fault.message.trim_end_matches('.');
    let message = message[..1].to_uppercase() + &message[1..];
    drawn(&mixed, "a fault", &[&message, fault.advice]);
    let mut wrong = planned();
    wrong.draft.sku = "LP/0142".to_owned();
    wrong.draft.settle_secs = "soon".to_owned();
    wrong.read_draft();
    let said: Vec<String> =
        wrong.problems.iter().map(|problem| problem.message.chars().skip(1).collect()).collect();
    let mut names: Vec<&str> = said.iter().map(String::as_str).collect();
    // The message about seconds is one of the window's own, around what was typed.
    names.retain(|text| !text.contains('«'));
    names.extend(["soon", "LP/0142"]);
    drawn(&wrong, "a bad value", &names);
}

#[test]
fn every_card_says_nothing_but_messages() {
    speak_marked();
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    draw(&mut harness);
    let place = folder.path().display().to_string();
    // The end of the path, where it was cut in the middle.
    let names = [place.as_str(), &place[place.len() - 5..], &place[1..4]];
    for card in ["table", "camera", "list", "folder", "settings", "keys", "safety"] {
        let button = text::say(&format!("top-bar-{card}"), &[]);
        harness.get_all_by_label_contains(&button).next().unwrap().click();
        let before = shown(&harness).len();
        draw(&mut harness);
        assert!(shown(&harness).len() > before, "{card} does not open");
        assert_all_marked(&harness, card, &names);
        harness.key_press(egui::Key::Escape);
        draw(&mut harness);
    }
}

#[test]
fn a_controller_s_card_says_nothing_but_messages() {
    speak_marked();
    let folder = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    begin.table = roundstop::studio::TableSpec::Serial { path: "COM3".to_owned(), baud: 9_600 };
    begin.options.dialect = session_core::turntable::serial::Dialect::preset("dwell");
    let mut harness = window(begin);
    harness.set_size(egui::vec2(1280.0, 1100.0));
    draw(&mut harness);
    let place = folder.path().display().to_string();
    let names =
        [place.as_str(), &place[place.len() - 5..], &place[1..4], "COM", "dwell", "ttyACM", "dev/", "tty"];
    harness.get_all_by_label_contains(&text::say("top-bar-table", &[])).next().unwrap().click();
    draw(&mut harness);
    let ask = text::say("probe-ask", &[]);
    assert!(harness.query_by_label(&ask).is_some());
    assert_all_marked(&harness, "the table's card", &names);
}

#[test]
fn the_set_up_path_says_nothing_but_messages() {
    speak_marked();
    let mut state = planned();
    for step in roundstop::window::setup::SetupStep::ALL {
        state.setup.step = Some(step);
        drawn(&state, &format!("{step:?}"), &["ttyACM", "dev/", "COM"]);
    }
}

#[test]
fn a_session_says_nothing_but_messages() {
    speak_marked();
    let folder = tempfile::tempdir().unwrap();
    let mut harness = window(start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max));
    draw(&mut harness);
    harness.state().sink().send(roundstop::window::intent::WindowIntent::Shoot);
    until(&mut harness, "the end of the set", |state| state.mode == Mode::Finished);
    let place = folder.path().display().to_string();
    let mut names = vec![
        place.as_str(),
        &place[place.len() - 5..],
        &place[1..4],
        "/frames",
        "simulated table",
        "simulated camera",
    ];
    // What a check says is the session's.
    let places = &harness.state().state().places;
    names.extend(
        places.iter().flat_map(roundstop::window::places::Place::flags).map(|flag| flag.reason.as_str()),
    );
    let angles =
        places.iter().flat_map(|place| &place.versions).filter_map(|version| version.seen_angle.as_ref());
    names.extend(angles.filter_map(|seen| match seen {
        SeenAngle::CannotTell { cannot_tell } => Some(cannot_tell.as_str()),
        SeenAngle::Told { .. } => None,
    }));
    assert_all_marked(&harness, "a finished set", &names);
}

#[test]
fn the_finishing_room_says_nothing_but_messages() {
    speak_marked();
    let folder = tempfile::tempdir().unwrap();
    let mut begin = start(Plan::single_row("LP-0142", 4), folder.path(), SimSpeed::Max);
    begin.options.sim_frame_px = (360, 240);
    let mut harness = window(begin);
    draw(&mut harness);
    let send = |harness: &Harness<'_, roundstop::window::WindowApp>, intent| {
        harness.state().sink().send(intent);
    };
    send(&harness, roundstop::window::intent::WindowIntent::Shoot);
    until(&mut harness, "the end of the set", |state| state.mode == Mode::Finished);
    let wish = |wish| roundstop::window::intent::WindowIntent::Finishing(wish);
    send(&harness, wish(FinishingWish::Enter));
    until(&mut harness, "the set measured", |state| state.finishing.measuring == Measuring::Done);
    let place = folder.path().display().to_string();
    let names = [place.as_str(), "/listing/square", "/frames", "«»", "JPEG", "JPG", "MB", "Square", "sRGB"];
    assert_all_marked(&harness, "the finishing room", &names);
}

#[test]
fn every_message_asked_for_is_in_the_file_and_the_other_way_round() {
    let messages: Resource<&str> = parser::parse(text::ENGLISH).unwrap();
    let mut there = BTreeSet::new();
    for entry in &messages.body {
        if let Entry::Message(message) = entry {
            there.insert(message.id.name.to_owned());
        }
    }
    let mut asked = BTreeSet::new();
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/window");
    for folder in [root.clone(), root.join("desk"), root.join("handle"), root.join("panels")] {
        for file in std::fs::read_dir(folder).unwrap() {
            let path = file.unwrap().path();
            if path.extension().is_none_or(|kind| kind != "rs") || path.ends_with("text.rs") {
                continue;
            }
            let source = std::fs::read_to_string(path).unwrap();
            for (at, _) in source.match_indices("t!(") {
                let before = source[..at].bytes().next_back().unwrap_or(b' ');
                let rest = source[at + 3..].trim_start();
                if let (false, Some(rest)) = (before.is_ascii_alphanumeric(), rest.strip_prefix('"')) {
                    asked.insert(rest.split('"').next().unwrap_or_default().to_owned());
                }
            }
        }
    }
    assert_eq!(asked.difference(&there).collect::<Vec<_>>(), Vec::<&String>::new(), "asked for, not there");
    assert_eq!(there.difference(&asked).collect::<Vec<_>>(), Vec::<&String>::new(), "there, never asked for");
}
