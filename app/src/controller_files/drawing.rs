//! The illustrated sheet: the same wires as the list, drawn, with the steps and the cautions.
//!
//! Three columns: the board, what stands beside it, and what that leads to. Each terminal has a row of
//! its own, so that wires run level and never cross; kinds of wire differ by dash, width and words.

use std::fmt::Write;

use super::wiring::{
    BOARD, CAMERA, CAUTIONS, DRIVER, FIRST_TURN, INDEX, Line, MOTOR, OPTO, SUPPLY, SWITCH, Wire,
};
use super::{Answers, Driver};
use crate::words::capital;

const WIDTH: i32 = 1240;
const MARGIN: i32 = 40;
/// Left edges and widths of the three columns.
const LEFT: (i32, i32) = (MARGIN, 190);
const MIDDLE: (i32, i32) = (510, 270);
const RIGHT: (i32, i32) = (990, 210);
const TOP: i32 = 150;
const ROW: i32 = 34;
const HEAD: i32 = 44;
const GAP: i32 = 30;
/// About the width of a letter at 14 px, for breaking lines.
const LETTER: f64 = 7.4;

/// A part with the heights it spans.
struct Block {
    title: &'static str,
    about: &'static str,
    column: (i32, i32),
    top: i32,
    bottom: i32,
}

/// Draws the sheet.
pub(super) fn sheet(answers: &Answers, wires: &[Wire]) -> String {
    let mut body = String::new();
    let mut y = TOP;
    let mut blocks = Vec::new();
    let mut drawn = String::new();
    for (middle, rights) in
        [(DRIVER, &[MOTOR, SUPPLY][..]), (OPTO, &[CAMERA][..]), (SWITCH, &[][..]), (INDEX, &[][..])]
    {
        let lefts: Vec<&Wire> = wires.iter().filter(|wire| wire.to.part == middle).collect();
        if lefts.is_empty() {
            continue;
        }
        let top = y;
        let row = |index: usize| top + HEAD + ROW / 2 + ROW * index as i32;
        for (index, wire) in lefts.iter().enumerate() {
            level(&mut drawn, wire, LEFT.0 + LEFT.1, MIDDLE.0, row(index));
        }
        let mut at = 0;
        for &right in rights {
            let outs: Vec<&Wire> =
                wires.iter().filter(|wire| wire.from.part == middle && wire.to.part == right).collect();
            let begins = at;
            for wire in &outs {
                level(&mut drawn, wire, MIDDLE.0 + MIDDLE.1, RIGHT.0, row(at));
                at += 1;
            }
            blocks.push(Block {
                title: right,
                about: about(right, answers.driver),
                column: RIGHT,
                top: row(begins) - ROW / 2 - HEAD,
                bottom: row(at - 1) + ROW / 2,
            });
            // Room for the next part's heading.
            at += 2;
        }
        let rows = lefts.len().max(at.saturating_sub(2));
        let bottom = row(rows - 1) + ROW / 2;
        blocks.push(Block {
            title: middle,
            about: about(middle, answers.driver),
            column: MIDDLE,
            top,
            bottom,
        });
        y = bottom + GAP;
    }
    let board_bottom = y - GAP;
    blocks.push(Block {
        title: BOARD,
        about: "3.3 V logic, fed by USB",
        column: LEFT,
        top: TOP,
        bottom: board_bottom,
    });
    for block in &blocks {
        draw_block(&mut body, block);
    }
    body.push_str(&drawn);
    let mut y = legend(&mut body, board_bottom + 46);
    y = list(&mut body, "From bare board to first turn", &FIRST_TURN, y + 44, true);
    y = list(&mut body, "Cautions", &CAUTIONS, y + 30, false);
    let height = y + MARGIN / 2;
    let title = match answers.driver {
        Driver::FourCoils(_) => "Wiring of the table's controller: four-coil motor on a Darlington driver",
        Driver::StepDir { .. } => "Wiring of the table's controller: step/direction driver",
    };
    let mut svg = String::new();
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" width=\"{WIDTH}\" height=\"{height}\" \
         role=\"img\" aria-labelledby=\"title desc\" font-family=\"sans-serif\" font-size=\"14\" fill=\"#1f2428\">\n\
         <title id=\"title\">{title}</title>\n<desc id=\"desc\">{}</desc>\n\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#ffffff\"/>\n\
         <text x=\"{MARGIN}\" y=\"52\" font-size=\"24\" font-weight=\"bold\">{title}</text>\n\
         <text x=\"{MARGIN}\" y=\"82\" font-size=\"16\">Unplug USB and the motor supply before you touch a wire. Pin numbers are the \
         processor's own (GPIO), not the places on the header.</text>\n\
         <text x=\"{MARGIN}\" y=\"106\" font-size=\"16\">Where two parts say GND or minus, they are joined: common ground.</text>\n{body}</svg>\n",
        escape(&described(wires)),
    );
    svg
}

/// All wires in words, for those who cannot see the drawing.
fn described(wires: &[Wire]) -> String {
    let each = wires.iter().map(|wire| {
        format!(
            "{} {} to {} {} ({})",
            wire.from.part,
            wire.from.terminal,
            wire.to.part,
            wire.to.terminal,
            wire.line.word()
        )
    });
    each.collect::<Vec<_>>().join("; ")
}

fn about(part: &str, driver: Driver) -> &'static str {
    match (part, driver) {
        (DRIVER, Driver::FourCoils(_)) => "Darlington array with clamp diodes",
        (DRIVER, Driver::StepDir { .. }) => "current limit set, supply capacitor",
        (MOTOR, Driver::FourCoils(_)) => "geared, four coils",
        (MOTOR, Driver::StepDir { .. }) => "two coils",
        (SUPPLY, _) => "its own, not the board's",
        (OPTO, _) => "LEDs here, contacts there",
        (CAMERA, _) => "plug in last",
        (SWITCH, _) => "lets the table turn alone",
        (INDEX, _) => "on once a turn",
        _ => "",
    }
}

fn draw_block(body: &mut String, block: &Block) {
    let (x, width) = block.column;
    let height = block.bottom - block.top + 6;
    let _ = writeln!(
        body,
        "<rect x=\"{x}\" y=\"{}\" width=\"{width}\" height=\"{height}\" rx=\"6\" fill=\"#f3f4f5\" stroke=\"#3a4147\" stroke-width=\"1.5\"/>\n\
         <text x=\"{cx}\" y=\"{}\" text-anchor=\"middle\" font-size=\"16\" font-weight=\"bold\">{}</text>\n\
         <text x=\"{cx}\" y=\"{}\" text-anchor=\"middle\" font-size=\"12\" fill=\"#3a4147\">{}</text>",
        block.top,
        block.top + 18,
        capital(block.title),
        block.top + 33,
        escape(block.about),
        cx = x + width / 2,
    );
}

/// One level wire with its terminals' names inside the parts and its note above the line.
fn level(drawn: &mut String, wire: &Wire, from: i32, to: i32, y: i32) {
    let (dash, stroke, width) = stroke(wire.line);
    let _ = writeln!(
        drawn,
        "<line x1=\"{from}\" y1=\"{y}\" x2=\"{to}\" y2=\"{y}\" stroke=\"{stroke}\" stroke-width=\"{width}\"{dash}/>\n\
         <circle cx=\"{from}\" cy=\"{y}\" r=\"4\" fill=\"{stroke}\"/><circle cx=\"{to}\" cy=\"{y}\" r=\"4\" fill=\"{stroke}\"/>\n\
         <text x=\"{}\" y=\"{}\" text-anchor=\"end\">{}</text>\n<text x=\"{}\" y=\"{}\">{}</text>",
        from - 10,
        y + 5,
        escape(&wire.from.terminal),
        to + 10,
        y + 5,
        escape(&wire.to.terminal),
    );
    let note = if wire.note.is_empty() { wire.line.word() } else { wire.note.as_str() };
    let _ = writeln!(
        drawn,
        "<text x=\"{}\" y=\"{}\" text-anchor=\"middle\" font-size=\"12\" fill=\"#3a4147\">{}</text>",
        i32::midpoint(from, to),
        y - 6,
        escape(note)
    );
}

/// Dash, tone and width: each kind differs by at least two of them.
fn stroke(line: Line) -> (&'static str, &'static str, &'static str) {
    match line {
        Line::Signal => ("", "#1f5f8b", "2"),
        Line::Ground => (" stroke-dasharray=\"14 5\"", "#1f2428", "2.5"),
        Line::Supply => ("", "#8b1f1f", "4.5"),
        Line::Motor => (" stroke-dasharray=\"14 4 3 4\"", "#3a4147", "3"),
        Line::Camera => (" stroke-dasharray=\"3 4\"", "#2f6b3a", "2.5"),
    }
}

fn legend(body: &mut String, y: i32) -> i32 {
    let mut x = MARGIN;
    for line in [Line::Signal, Line::Ground, Line::Supply, Line::Motor, Line::Camera] {
        let (dash, tone, width) = stroke(line);
        let _ = writeln!(
            body,
            "<line x1=\"{x}\" y1=\"{y}\" x2=\"{}\" y2=\"{y}\" stroke=\"{tone}\" stroke-width=\"{width}\"{dash}/>\n\
             <text x=\"{}\" y=\"{}\">{}</text>",
            x + 70,
            x + 80,
            y + 5,
            line.word()
        );
        x += 220;
    }
    y
}

/// A boxed list in two columns; gives where it ends.
fn list(body: &mut String, title: &str, items: &[&str], top: i32, numbered: bool) -> i32 {
    let column = (WIDTH - 2 * MARGIN - 60) / 2;
    let letters = (f64::from(column - 40) / LETTER) as usize;
    let half = items.len().div_ceil(2);
    let mut text = String::new();
    let mut bottom = top;
    for (side, part) in items.chunks(half).enumerate() {
        let x = MARGIN + 20 + side as i32 * (column + 20);
        let mut y = top + 60;
        for (index, item) in part.iter().enumerate() {
            let mark = if numbered { format!("{}.", side * half + index + 1) } else { "!".to_owned() };
            let _ = writeln!(text, "<text x=\"{x}\" y=\"{y}\" font-weight=\"bold\">{mark}</text>");
            for line in broken(item, letters) {
                let _ = writeln!(text, "<text x=\"{}\" y=\"{y}\">{}</text>", x + 26, escape(&line));
                y += 20;
            }
            y += 8;
        }
        bottom = bottom.max(y);
    }
    let _ = writeln!(
        body,
        "<rect x=\"{MARGIN}\" y=\"{top}\" width=\"{}\" height=\"{}\" rx=\"6\" fill=\"{}\" stroke=\"#3a4147\" stroke-width=\"{}\"/>\n\
         <text x=\"{}\" y=\"{}\" font-size=\"18\" font-weight=\"bold\">{title}</text>",
        WIDTH - 2 * MARGIN,
        bottom - top,
        if numbered { "#ffffff" } else { "#fbf3df" },
        if numbered { "1.5" } else { "3" },
        MARGIN + 20,
        top + 30,
    );
    body.push_str(&text);
    bottom
}

/// Breaks a sentence into lines of at most so many letters.
fn broken(text: &str, letters: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let last = lines.len() - 1;
        if lines[last].is_empty() {
            lines[last].push_str(word);
        } else if lines[last].chars().count() + 1 + word.chars().count() <= letters {
            lines[last].push(' ');
            lines[last].push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
