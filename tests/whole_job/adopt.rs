//! A copied card, an HTTP camera and lens help through the program itself.

#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "the tests play the photographer's card")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

use std::fs;
use std::io::{Read, Write};
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Output;
use std::thread;

use serde_json::Value;
use support::{assert_complete, plan, roundstop, run, said, status};

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {}", said(output)))
}

/// A card with frames of the demo's pot at even angles, named as cameras do.
fn card(home: &Path, frames: u32) -> PathBuf {
    let card = home.join("card/DCIM/100KILN");
    fs::create_dir_all(&card).unwrap();
    for n in 0..frames {
        let file = card.join(format!("IMG_{}.JPG", 8 + n));
        let degrees = (f64::from(n) * 360.0 / f64::from(frames)).to_string();
        let made = run(home, &["demo-frame", file.to_str().unwrap(), &degrees, "--size", "320x240"]);
        assert!(made.status.success(), "{}", said(&made));
    }
    home.join("card")
}

#[test]
fn a_card_becomes_a_set_after_a_look_at_the_table() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 4);
    let card = card(home.path(), 4);
    let set = home.path().join("D");
    let args =
        ["adopt", card.to_str().unwrap(), "--plan", plan.to_str().unwrap(), "--into", set.to_str().unwrap()];

    // Looking copies nothing and begins nothing.
    let look = run(home.path(), &args);
    let text = said(&look);
    assert_eq!(look.status.code(), Some(3), "{text}");
    for words in ["DCIM/100KILN/IMG_8.JPG", "90.00°", "No table has confirmed", "run again with --yes"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert!(text.find("IMG_9.JPG").unwrap() < text.find("IMG_10.JPG").unwrap(), "{text}");
    assert!(!set.exists());
    let look = json(&run(home.path(), &[&args[..], &["--json"]].concat()));
    assert_eq!((&look["adopted"], &look["clock"]), (&Value::Bool(false), &Value::from("camera")));
    assert_eq!(look["frames"][2]["files"][0], "DCIM/100KILN/IMG_10.JPG");
    assert!(!set.exists());

    let done = run(home.path(), &[&args[..], &["--yes", "--json"]].concat());
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    assert_eq!(json(&done)["status"]["complete"], true);
    assert_complete(home.path(), &set);
    let status = status(home.path(), &set);
    assert_eq!(status["stops"][0]["versions"][0]["adopted"], true);
    assert!(status["stops"][0]["versions"][0]["reported_step"].is_null());
    assert_eq!(fs::read_dir(card.join("DCIM/100KILN")).unwrap().count(), 4);

    // A second time there is nothing to fill, and a stop shot anew afterwards is compared with the rest.
    let again = run(home.path(), &[&args[..], &["--yes"]].concat());
    assert_eq!(again.status.code(), Some(1));
    assert!(said(&again).contains("every stop of the set has its frame already"), "{}", said(&again));
}

#[test]
fn a_card_that_does_not_fit_is_refused_and_begins_nothing() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 5);
    let card = card(home.path(), 4);
    let set = home.path().join("D");
    let args =
        ["adopt", card.to_str().unwrap(), "--plan", plan.to_str().unwrap(), "--into", set.to_str().unwrap()];
    let refused = run(home.path(), &[&args[..], &["--yes"]].concat());
    assert_eq!(refused.status.code(), Some(1));
    assert!(said(&refused).contains("4 frames do not fit 5 open stops"), "{}", said(&refused));
    assert!(!set.exists());
}

#[test]
fn a_camera_on_the_network_shoots_a_set_with_a_password_from_the_environment() {
    let home = tempfile::tempdir().unwrap();
    let plan = plan(home.path(), "plan.json", 3);
    let frame = home.path().join("frame.jpg");
    run(home.path(), &["demo-frame", frame.to_str().unwrap(), "0", "--size", "320x240"]);
    let bytes = fs::read(&frame).unwrap();
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    thread::spawn(move || {
        for line in listener.incoming() {
            let mut line = line.unwrap();
            let mut asked = Vec::new();
            let mut byte = [0];
            while !asked.ends_with(b"\r\n\r\n") && line.read(&mut byte).unwrap_or(0) == 1 {
                asked.push(byte[0]);
            }
            // RFC 7617: base64 of mara:clay.
            let good = String::from_utf8_lossy(&asked).contains("bWFyYTpjbGF5");
            let (status, body) = if good { ("200 OK", &bytes[..]) } else { ("401 Unauthorized", &[][..]) };
            let head = format!("HTTP/1.1 {status}\r\nContent-Length: {}\r\n\r\n", body.len());
            let _ = line.write_all(&[head.as_bytes(), body].concat());
        }
    });
    let set = home.path().join("D");
    let shoot = |login: Option<&str>, extra: &[&str]| {
        let mut command = roundstop(home.path());
        command.args(["shoot", "--plan", plan.to_str().unwrap(), "--into", set.to_str().unwrap()]);
        command.args(["--table", "sim", "--sim-speed", "max", "--retries", "0"]).args(extra);
        command.args(["--camera", &format!("http://127.0.0.1:{port}/still.jpg")]);
        command.env_remove("ROUNDSTOP_HTTP_LOGIN").envs(login.map(|login| ("ROUNDSTOP_HTTP_LOGIN", login)));
        command.output().unwrap()
    };
    let refused = shoot(None, &[]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(said(&refused).contains("ROUNDSTOP_HTTP_LOGIN=NAME:PASSWORD"), "{}", said(&refused));
    let wrong = shoot(Some("mara:mud"), &[]);
    assert!(said(&wrong).contains("does not accept this name and password"), "{}", said(&wrong));
    let done = shoot(Some("mara:clay"), &[]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    assert_complete(home.path(), &set);
}

#[test]
fn a_camera_whose_exposure_drifts_ends_an_unattended_run_with_a_fault() {
    let home = tempfile::tempdir().unwrap();
    let (slow, fast) = (plan(home.path(), "slow.json", 4), home.path().join("fast.json"));
    // The simulated camera writes the plan's exposure time into its files.
    let text = fs::read_to_string(&slow).unwrap();
    fs::write(&fast, text.replace("\"exposure_secs\": 0.25", "\"exposure_secs\": 0.125")).unwrap();
    let set = home.path().join("D");
    let first = run(home.path(), &support::quick(&slow, &set));
    assert_eq!(first.status.code(), Some(0), "{}", said(&first));
    run(home.path(), &["set-aside", set.to_str().unwrap(), "--stops", "2,3"]);
    let drifted = run(home.path(), &[&support::quick(&fast, &set)[..], &["--replan", "--json"]].concat());
    let text = said(&drifted);
    assert_eq!(drifted.status.code(), Some(1), "{text}");
    for words in
        ["shutter speed changed from 1/4 s to 1/8 s", "Stop 2", "roundstop retake", "--settings-may-change"]
    {
        assert!(text.contains(words), "{words}: {text}");
    }
    assert_eq!(json(&drifted)["stops"][1]["state"], "kept");
    let free = run(home.path(), &[&support::quick(&fast, &set)[..], &["--settings-may-change"]].concat());
    assert_eq!(free.status.code(), Some(0), "{}", said(&free));
    assert_complete(home.path(), &set);
}

#[test]
fn lens_help_speaks_in_sentences_and_numbers() {
    let home = tempfile::tempdir().unwrap();
    let args = [
        "optics",
        "--sensor",
        "36x24",
        "--focal",
        "100",
        "--f",
        "11",
        "--distance",
        "60cm",
        "--object-width",
        "12cm",
        "--object-height",
        "10cm",
        "--blur",
        "0.02mm",
    ];
    let spoken = run(home.path(), &args);
    let text = said(&spoken);
    assert_eq!(spoken.status.code(), Some(0), "{text}");
    // Worked example: f 100 mm, f/11, c 0.02 mm, s 600 mm gives 593.47 to 606.67 mm.
    for words in
        ["Sharp from 59.3 cm to 60.7 cm", "its near or far side is not sharp", "of the frame's width"]
    {
        assert!(text.contains(words), "{words}: {text}");
    }
    let report = json(&run(home.path(), &[&args[..], &["--json"]].concat()));
    assert!((report["sharp_from_mm"].as_f64().unwrap() - 593.47).abs() < 0.005);
    assert!((report["sharp_to_mm"].as_f64().unwrap() - 606.67).abs() < 0.005);
    assert_eq!(report["sharp_all_round"], false);
    for (wrong, words) in [("60", "has no unit"), ("9cm", "focuses nothing"), ("15cm", "they collide")] {
        let bad = args.map(|arg| if arg == "60cm" { wrong } else { arg });
        let output = run(home.path(), &bad);
        assert_eq!(output.status.code(), Some(2));
        assert!(said(&output).contains(words), "{wrong}: {}", said(&output));
    }
}
