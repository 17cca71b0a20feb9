//! Sets with a tethered camera that fails: each ends complete, or in a clear fault with nothing lost.

use std::io::Read;
use std::process::Stdio;

use crate::net_camera::{Rig, wait_until};
use crate::support;

#[test]
fn a_camera_that_is_busy_is_asked_again() {
    let rig = Rig::new(4, "max", &["--busy", "5"]);
    rig.run_through(&[]);
    assert_eq!(rig.assert_frames(1), [1, 2, 3, 4]);
    assert_eq!(rig.camera.count("busy"), 5);
}

#[test]
fn a_camera_that_never_tells_of_the_captures_end() {
    let rig = Rig::new(4, "max", &["--no-capture-complete"]);
    rig.run_through(&[]);
    assert_eq!(rig.assert_frames(1), [1, 2, 3, 4]);
}

#[test]
fn a_line_that_drops_in_mid_transfer_costs_no_exposure() {
    let rig = Rig::new(4, "max", &["--drop-transfer", "2", "--drop-transfer", "4"]);
    rig.run_through(&[]);
    assert_eq!(rig.assert_frames(1), [1, 2, 3, 4]);
    assert_eq!(rig.camera.count("fault"), 2);
    assert_eq!(rig.camera.count("connected"), 3);
    assert_eq!(rig.quarantined(), 0);
}

#[test]
fn a_line_that_drops_after_the_shutter_costs_one_exposure() {
    let rig = Rig::new(4, "max", &["--drop-capture", "2"]);
    rig.run_through(&[]);
    // The stop is shot again; what nobody told of stays on the card.
    assert_eq!(rig.assert_frames(1), [1, 3, 4, 5]);
    assert_eq!(rig.camera.count("deleted"), 0);
}

#[test]
fn a_file_that_comes_cut_short_is_asked_for_again() {
    let rig = Rig::new(4, "max", &["--truncate", "1", "--truncate", "3"]);
    rig.run_through(&["--remove-from-card"]);
    assert_eq!(rig.assert_frames(1), [1, 2, 3, 4]);
    assert_eq!(rig.camera.count("fault"), 2);
    assert_eq!(rig.quarantined(), 0);
}

#[test]
fn a_transfer_that_hangs_is_ended_with_its_process_and_tried_anew() {
    let rig = Rig::new(3, "max", &["--trickle", "2"]);
    let text = rig.run_through(&["--frame-timeout", "4"]);
    assert_eq!(rig.assert_frames(1), [1, 2, 3]);
    assert!(text.contains("did not answer within 4 s"), "{text}");
    assert_eq!(rig.camera.count("connected"), 2);
    wait_until("the child's end", || rig.children() == 0);
}

#[test]
fn a_camera_that_does_not_answer_a_capture() {
    let rig = Rig::new(3, "max", &["--mute", "2"]);
    rig.run_through(&[]);
    assert_eq!(rig.assert_frames(1), [1, 3, 4]);
}

#[test]
fn names_that_repeat_never_bring_an_old_file() {
    for faults in [&["--same-name"][..], &["--same-name", "--pair"]] {
        let rig = Rig::new(5, "max", faults);
        rig.run_through(&[]);
        assert_eq!(rig.assert_frames(faults.len()), [1, 2, 3, 4, 5], "{faults:?}");
    }
}

#[test]
fn a_full_card_stops_the_session_with_every_frame_safe_and_a_new_card_goes_on() {
    let mut rig = Rig::new(6, "max", &["--card-full-after", "3"]);
    let output = rig.run(&[]);
    let text = support::said(&output);
    assert_eq!(output.status.code(), Some(1), "{text}");
    for words in ["is full", "put in another card", "Every kept frame is safe"] {
        assert!(text.contains(words), "{text}");
    }
    assert_eq!(rig.assert_kept(&rig.status(), 1), [1, 2, 3]);
    rig.swap_camera(&[], || {});
    rig.run_through(&[]);
    assert_eq!(rig.assert_frames(1).len(), 6);
}

#[test]
fn a_camera_unplugged_and_plugged_in_again_does_not_end_the_session() {
    let mut rig = Rig::new(8, "max", &["--transfer-ms", "300"]);
    let mut child = rig.shoot(&[]).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    rig.camera.wait_for("transfer-ends", 3);
    let mut said = child.stderr.take().unwrap();
    let mut heard = String::new();
    rig.swap_camera(&[], || {
        // It is off until the session has noticed.
        let mut buffer = [0; 4096];
        while !heard.contains("the camera is gone") {
            let length = said.read(&mut buffer).unwrap();
            assert!(length > 0, "the session ended: {heard}");
            heard += &String::from_utf8_lossy(&buffer[..length]);
        }
    });
    said.read_to_string(&mut heard).unwrap();
    assert!(child.wait().unwrap().success(), "{heard}");
    rig.assert_frames(1);
}

#[test]
fn a_camera_that_stays_away_is_a_fault_and_the_set_goes_on_when_it_is_back() {
    let mut rig = Rig::new(5, "max", &["--transfer-ms", "300"]);
    let child = rig.shoot(&["--retries", "0"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    rig.camera.wait_for("transfer-ends", 2);
    let mut output = None;
    rig.swap_camera(&[], || output = Some(child.wait_with_output().unwrap()));
    let output = output.unwrap();
    let text = support::said(&output);
    assert_eq!(output.status.code(), Some(1), "{text}");
    for words in ["the camera is gone", "check its cable, battery", "Every kept frame is safe"] {
        assert!(text.contains(words), "{text}");
    }
    let before = support::kept(&rig.dir);
    assert!(!before.is_empty());
    rig.run_through(&[]);
    rig.assert_frames(1);
    let after = support::kept(&rig.dir);
    assert!(before.iter().all(|(file, digest)| after.get(file) == Some(digest)));
}

#[test]
fn another_camera_in_its_place_is_refused() {
    let mut rig = Rig::new(8, "max", &["--transfer-ms", "300"]);
    let mut child = rig.shoot(&[]).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    rig.camera.wait_for("transfer-ends", 2);
    rig.swap_camera(&["--serial", "LH999999"], || {});
    let mut heard = String::new();
    child.stderr.take().unwrap().read_to_string(&mut heard).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(1), "{heard}");
    assert!(heard.contains("LH000001") && heard.contains("LH999999 answers now"), "{heard}");
}

#[test]
fn nothing_at_the_address() {
    let mut rig = Rig::new(2, "max", &[]);
    let mut output = None;
    let command = rig.shoot(&[]);
    rig.swap_camera(&[], || {
        let mut command = command;
        output = Some(command.output().unwrap());
    });
    let output = output.unwrap();
    let text = support::said(&output);
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(text.contains("the camera is gone") && text.contains("check its cable"), "{text}");
}

#[test]
fn a_session_that_is_killed_leaves_no_process_behind() {
    let rig = Rig::new(12, "max", &["--transfer-ms", "300"]);
    let mut child = rig.shoot(&[]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    rig.camera.wait_for("transfer-begins", 2);
    assert_eq!(rig.children(), 1);
    child.kill().unwrap();
    let _ = child.wait();
    wait_until("the child's end", || rig.children() == 0);
    rig.run_through(&[]);
    assert_eq!(rig.assert_frames(1).len(), 12);
}
