//! Tethered cameras: the real libgphoto2 against a camera simulated on the network (PTP, ISO 15740, over
//! PTP/IP, CIPA DC-005), on the real controller program.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

mod support;

/// A program built without the feature says what to build and install.
#[cfg(not(feature = "tether"))]
#[test]
fn without_the_feature_the_program_says_what_to_do() {
    let home = tempfile::tempdir().unwrap();
    let plan = support::plan(home.path(), "plan.json", 2);
    let dir = home.path().join("D");
    for camera in ["tether", "tether:usb:001,004"] {
        let output = support::run(
            home.path(),
            &[
                "shoot",
                "--plan",
                plan.to_str().unwrap(),
                "--into",
                dir.to_str().unwrap(),
                "--table",
                "sim",
                "--camera",
                camera,
            ],
        );
        let text = support::said(&output);
        assert_eq!(output.status.code(), Some(1), "{text}");
        for word in ["--features tether", "libgphoto2-dev"] {
            assert!(text.contains(word), "{text}");
        }
    }
    let output = support::run(home.path(), &["cameras"]);
    assert!(support::said(&output).contains("--features tether"));
}

#[cfg(feature = "tether")]
mod net_camera;
#[cfg(feature = "tether")]
mod tether_faults;
#[cfg(feature = "tether")]
mod tether_sets;
