//! The card for setting up a controller board: answers, files, wiring, cautions.

use egui::{Grid, Modal, RichText, ScrollArea, Ui, vec2};

use super::widgets::{Field, button_ui, field_ui, primary_button_ui, problem_ui, soft_wrapped_ui};
use crate::controller_files::{BoardFiles, CAUTIONS, FIRST_TURN};
use crate::window::board::{BoardDraft, BoardEdit};
use crate::window::intent::{IntentSink, WindowIntent};
use crate::window::state::State;
use crate::window::text::t;
use crate::window::theme;

const WIDTH: f32 = 620.0;
/// The height of what is scrolled, where the window has room for it, points.
const HEIGHT: f32 = 620.0;

/// Draws the card while it is open.
pub fn board_card_ui(ui: &Ui, state: &State, sink: &IntentSink) {
    if !state.board.open {
        return;
    }
    let close = || sink.send(WindowIntent::Board(BoardEdit::Open(false)));
    let shown = Modal::new(egui::Id::unique("controller board")).show(ui.ctx(), |ui| {
        ui.set_width(WIDTH);
        ui.heading(t!("board-set-up-a-controller-board"));
        // Of one height whatever is typed: what the answers lead to must not move the fields away.
        let height = (ui.ctx().content_rect().height() - 170.0).clamp(240.0, HEIGHT);
        ui.allocate_ui(vec2(WIDTH, height), |ui| {
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                ui.set_width(WIDTH - 16.0);
                card_ui(ui, state, sink);
            });
        });
        ui.horizontal(|ui| {
            let good = state.board.files().is_ok();
            if primary_button_ui(ui, &t!("board-save-to-the-boards-drive"), good, vec2(0.0, 32.0)).clicked() {
                sink.send(WindowIntent::SaveBoard);
            }
            if button_ui(ui, &t!("board-close"), true, vec2(0.0, 32.0)).clicked() {
                close();
            }
        });
        // A notice would stand behind the card.
        if let Some(trouble) = &state.board.trouble {
            problem_ui(ui, trouble);
        }
    });
    if shown.should_close() {
        close();
    }
}

fn card_ui(ui: &mut Ui, state: &State, sink: &IntentSink) {
    let board = &state.board;
    let edit = |edit| sink.send(WindowIntent::Board(edit));
    for caution in CAUTIONS {
        ui.add(egui::Label::new(RichText::new(format!("• {caution}")).font(theme::small())).wrap());
    }
    ui.add_space(4.0);
    ui.horizontal(|ui| {
        for (four, text) in
            [(true, t!("board-four-coils-on-a-darlington")), (false, t!("board-step-and-direction-driver"))]
        {
            if ui.radio(board.four_coils == four, text).clicked() {
                edit(BoardEdit::FourCoils(four));
            }
        }
    });
    let mut reverse = board.reverse;
    if ui.checkbox(&mut reverse, t!("board-reverse")).changed() {
        edit(BoardEdit::Reverse(reverse));
    }
    let files = board.files();
    ui.add_space(4.0);
    // The delivered pins suit most boards; what is wrong is always in sight.
    egui::CollapsingHeader::new(t!("board-details"))
        .id_salt("details")
        .open(files.is_err().then_some(true))
        .show_unindented(ui, |ui| details_ui(ui, board, &files, &edit));
}

/// Gear and pin numbers with what is wrong with the answers, the wiring, and the steps with their commands.
fn details_ui(
    ui: &mut Ui,
    board: &BoardDraft,
    files: &Result<BoardFiles, String>,
    edit: &impl Fn(BoardEdit),
) {
    if let Some(text) = field_of(ui, &t!("board-steps-in-one-turn-of"), &board.steps_per_turn) {
        edit(BoardEdit::StepsPerTurn(text));
    }
    let pins = if board.four_coils {
        t!("board-pins-for-in1-in2-in3")
    } else {
        t!("board-pins-for-step-dir-enable")
    };
    if let Some(text) = field_of(ui, &pins, &board.pins) {
        edit(BoardEdit::Pins(text));
    }
    ui.horizontal(|ui| {
        if let Some(text) = field_of(ui, &t!("board-pin-for-the-shutters-full"), &board.full_press) {
            edit(BoardEdit::FullPress(text));
        }
        if let Some(text) = field_of(ui, &t!("board-pin-for-the-half-press"), &board.half_press) {
            edit(BoardEdit::HalfPress(text));
        }
    });
    ui.horizontal(|ui| {
        if let Some(text) = field_of(ui, &t!("board-pin-for-a-switch-that"), &board.switch) {
            edit(BoardEdit::Switch(text));
        }
        if let Some(text) = field_of(ui, &t!("board-pin-for-an-index-sensor"), &board.index) {
            edit(BoardEdit::Index(text));
        }
    });
    match files {
        Ok(files) => wiring_ui(ui, files),
        Err(problem) => problem_ui(ui, problem),
    }
    ui.add_space(4.0);
    ui.label(RichText::new(t!("board-from-bare-board-to-first")).strong());
    for (number, step) in FIRST_TURN.iter().enumerate() {
        ui.add(egui::Label::new(format!("{}. {step}", number + 1)).wrap());
    }
}

/// Which terminal is joined to which.
fn wiring_ui(ui: &mut Ui, files: &BoardFiles) {
    ui.add_space(4.0);
    ui.label(RichText::new(t!("board-wiring")).strong());
    Grid::new("wiring").num_columns(3).max_col_width(250.0).spacing([14.0, 3.0]).striped(true).show(
        ui,
        |ui| {
            for wire in &files.wiring {
                ui.label(format!("{} {}", wire.from.part, wire.from.terminal));
                ui.label(format!("{} {}", wire.to.part, wire.to.terminal));
                soft_wrapped_ui(ui, format!("{}. {}", wire.line.word(), wire.note));
                ui.end_row();
            }
        },
    );
}

/// A field of half the card's width.
fn field_of(ui: &mut Ui, caption: &str, text: &str) -> Option<String> {
    let field = Field {
        caption,
        name: caption,
        text,
        hint: &t!("board-none"),
        width: (WIDTH - 40.0) / 2.0,
        problem: None,
        tip: None,
        enabled: true,
    };
    field_ui(ui, &field)
}
