//! Command and folder cameras against real programs and real files, good and bad.

#![cfg(unix)]
#![allow(clippy::disallowed_methods, reason = "the tests play the foreign program that writes frames")]
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test may panic")]

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

use session_core::camera::command::CommandCamera;
use session_core::camera::folder::{FolderCamera, FolderOptions, Trigger};
use session_core::camera::{Arrival, Camera, CameraContext, CameraError, ExposureRequest, ShutterLine};
use session_core::cancel::CancelToken;

/// A whole JPEG by structure (ITU-T T.81 annex B), long enough to be written in pieces.
fn jpeg(mark: u8) -> Vec<u8> {
    let mut bytes = vec![0xff, 0xd8, 0xff, 0xda, 0x00, 0x02];
    bytes.extend(std::iter::repeat_n(mark & 0x7f, 20_000));
    bytes.extend([0xff, 0xd9]);
    bytes
}

fn raw(mark: u8) -> Vec<u8> {
    let mut bytes = b"II*\0".to_vec();
    bytes.extend(std::iter::repeat_n(mark, 30_000));
    bytes
}

fn request(root: &Path, shot: u64, stop: u32) -> ExposureRequest {
    let inbox = root.join(format!("inbox-{shot}"));
    fs::create_dir_all(&inbox).unwrap();
    ExposureRequest {
        shot,
        stop,
        row: "level".to_owned(),
        degrees_text: "22.5".to_owned(),
        sku: "LH-1".to_owned(),
        empty_table: false,
        exposure: Duration::from_millis(20),
        inbox,
    }
}

fn no_prompt(_: String) {}

fn context<'a>(cancel: &'a CancelToken, shutter: Option<&'a dyn ShutterLine>) -> CameraContext<'a> {
    CameraContext { cancel, shutter, prompt: &no_prompt }
}

fn shoot(
    camera: &mut dyn Camera,
    request: &ExposureRequest,
    shutter: Option<&dyn ShutterLine>,
) -> Result<Vec<Arrival>, CameraError> {
    let cancel = CancelToken::default();
    camera.expose(request, &context(&cancel, shutter))?;
    camera.fetch(request, &context(&cancel, shutter))
}

fn contents(arrivals: &[Arrival]) -> Vec<Vec<u8>> {
    let read = |arrival: &Arrival| match arrival {
        Arrival::Inbox(path) | Arrival::Foreign(path) => fs::read(path).unwrap(),
        Arrival::Bytes { bytes, .. } => bytes.to_vec(),
    };
    arrivals.iter().map(read).collect()
}

mod command {
    use super::*;

    const PATIENCE: Duration = Duration::from_secs(20);

    fn run(command: &str) -> (Result<Vec<Arrival>, CameraError>, Vec<Arrival>) {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("good.jpg"), jpeg(1)).unwrap();
        let command = command.replace("GOOD", &dir.path().join("good.jpg").to_string_lossy());
        let mut camera = CommandCamera::new(&command, PATIENCE).unwrap();
        let result = shoot(&mut camera, &request(dir.path(), 1, 3), None);
        if let Ok(arrivals) = &result {
            assert_eq!(contents(arrivals)[0], jpeg(1));
        }
        (result, camera.take_held())
    }

    #[test]
    fn a_program_gets_its_fields_without_a_shell() {
        let dir = tempfile::tempdir().unwrap();
        let script = "import sys,json; open(sys.argv[1],'wb').write(bytes.fromhex('ffd8ffda0002')+json.dumps(sys.argv[2:]).encode()+bytes.fromhex('ffd9'))";
        let command = format!(
            "python3 -c \"{script}\" {{file}} {{degrees}} {{stop}} {{row}} {{sku}} '$HOME; *' x{{shot}}y"
        );
        let mut camera = CommandCamera::new(&command, PATIENCE).unwrap();
        let arrivals = shoot(&mut camera, &request(dir.path(), 9, 3), None).unwrap();
        let bytes = contents(&arrivals).remove(0);
        let text = String::from_utf8_lossy(&bytes[6..bytes.len() - 2]).into_owned();
        assert_eq!(text, r#"["22.5", "3", "level", "LH-1", "$HOME; *", "x9y"]"#);
    }

    #[test]
    fn a_program_may_choose_its_own_extensions() {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("good.jpg"), jpeg(1)).unwrap();
        fs::write(dir.path().join("good.nef"), raw(2)).unwrap();
        let (jpg, nef) = (dir.path().join("good.jpg"), dir.path().join("good.nef"));
        let command =
            format!("sh -c 'cp {} \"$0.JPG\"; cp {} \"$0.NEF\"' {{stem}}", jpg.display(), nef.display());
        let mut camera = CommandCamera::new(&command, PATIENCE).unwrap();
        let mut got = contents(&shoot(&mut camera, &request(dir.path(), 4, 1), None).unwrap());
        got.sort();
        assert_eq!(got, [raw(2), jpeg(1)]);
    }

    #[test]
    fn a_good_file_is_taken() {
        let (result, held) = run("cp GOOD {file}");
        assert_eq!(result.unwrap().len(), 1);
        assert!(held.is_empty());
    }

    #[test]
    fn what_goes_wrong_is_said_with_its_reason() {
        for (command, words) in [
            (
                "sh -c 'echo lens cap is on >&2; exit 3' x {file}",
                "failed with exit code 3 and said: lens cap is on; run it in a terminal",
            ),
            ("sh -c true x {file}", "wrote no file"),
            ("sh -c ': > \"$0\"' {file}", "it is empty"),
            ("sh -c 'head -c 5000 GOOD > \"$0\"' {file}", "cut short"),
            ("sh -c 'echo \"<html>\" > \"$0\"' {file}", "not a picture"),
            ("sh -c 'cp GOOD \"$0\"; cp GOOD \"${0%/*}/other.jpg\"' {file}", "2 frames came for one stop"),
        ] {
            let (result, held) = run(command);
            let error = result.unwrap_err().to_string();
            assert!(error.contains(words), "{command}: {error}");
            // Whatever was written is held for the photographer to look at.
            let wrote = !words.contains("wrote no file") && !words.contains("lens cap");
            assert_eq!(!held.is_empty(), wrote, "{command}");
        }
    }

    #[test]
    fn a_program_that_is_not_there_is_named() {
        let (result, _) = run("no-such-camera-program {file}");
        assert!(
            matches!(result, Err(CameraError::BadSetup(text)) if text.contains("no-such-camera-program"))
        );
    }

    #[test]
    fn a_hanging_program_is_ended_with_its_children() {
        let dir = tempfile::tempdir().unwrap();
        let pid_file = dir.path().join("child.pid");
        // The child outlives its parent unless the whole group goes.
        let command = format!("sh -c 'sleep 600 & echo $! > {}; wait' x {{file}}", pid_file.display());
        let mut camera = CommandCamera::new(&command, Duration::from_millis(700)).unwrap();
        let error = shoot(&mut camera, &request(dir.path(), 1, 1), None).unwrap_err();
        assert!(error.to_string().contains("did not end within"), "{error}");
        let child = fs::read_to_string(&pid_file).unwrap();
        let stat = PathBuf::from(format!("/proc/{}/stat", child.trim()));
        let alive = || fs::read_to_string(&stat).is_ok_and(|stat| !stat.contains(") Z "));
        // The kernel ends a killed process when it next gets the processor, not while the killer waits.
        let give_up = Instant::now() + PATIENCE;
        while alive() && Instant::now() < give_up {
            thread::sleep(Duration::from_millis(10));
        }
        assert!(!alive(), "the child still runs");
    }

    #[test]
    fn a_stopped_session_ends_the_program() {
        let dir = tempfile::tempdir().unwrap();
        let mut camera = CommandCamera::new("sh -c 'sleep 600' x {file}", Duration::from_secs(600)).unwrap();
        let cancel = CancelToken::default();
        let later = cancel.clone();
        let canceller = thread::spawn(move || {
            thread::sleep(Duration::from_millis(100));
            later.cancel();
        });
        let result = camera.expose(&request(dir.path(), 1, 1), &context(&cancel, None));
        assert_eq!(result, Err(CameraError::Cancelled));
        canceller.join().unwrap();
    }

    #[test]
    fn a_command_that_makes_no_sense_is_refused_before_the_session() {
        for (command, words) in [
            ("camera --out", "no {file} and no {stem}"),
            ("camera {file} {degree}", "unknown field {degree}"),
            ("camera 'unclosed {file}", "does not close"),
            ("", "names no program"),
            ("{file}", "no {file}"),
        ] {
            let error = CommandCamera::new(command, PATIENCE).unwrap_err().to_string();
            assert!(error.contains(words), "{command}: {error}");
        }
    }
}

mod folder {
    use super::*;

    /// A shutter line at whose other end a thread plays the camera.
    struct SyncLine(std::sync::Mutex<Sender<()>>);
    impl ShutterLine for SyncLine {
        fn fire(&self, _: Duration) -> Result<(), String> {
            self.0.lock().unwrap().send(()).map_err(|_| "no camera".to_owned())
        }
    }

    struct Bench {
        dir: tempfile::TempDir,
        camera: FolderCamera,
        line: SyncLine,
        fired: Option<Receiver<()>>,
    }

    fn options() -> FolderOptions {
        FolderOptions {
            frame_timeout: Duration::from_secs(6),
            pair_wait: Duration::from_millis(500),
            still_time: Duration::from_millis(1200),
            ..FolderOptions::default()
        }
    }

    fn bench(options: FolderOptions) -> Bench {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir(dir.path().join("card")).unwrap();
        fs::write(dir.path().join("card/OLD.JPG"), jpeg(99)).unwrap();
        let mut camera = FolderCamera::new(dir.path().join("card"), options);
        camera.probe().unwrap();
        let (sender, fired) = channel();
        Bench { dir, camera, line: SyncLine(std::sync::Mutex::new(sender)), fired: Some(fired) }
    }

    impl Bench {
        /// Plays the camera: `write` runs in its own thread each time the shutter fires, with the count.
        fn on_fire(&mut self, write: impl Fn(&Path, u32) + Send + 'static) -> thread::JoinHandle<()> {
            let fired = self.fired.take().unwrap();
            let card = self.dir.path().join("card");
            thread::spawn(move || {
                let mut count = 0;
                while fired.recv().is_ok() {
                    count += 1;
                    write(&card, count);
                }
            })
        }

        fn shoot(&mut self, shot: u64, stop: u32) -> Result<Vec<Arrival>, CameraError> {
            let request = request(self.dir.path(), shot, stop);
            shoot(&mut self.camera, &request, Some(&self.line))
        }
    }

    fn write_slowly(path: &Path, bytes: &[u8], pieces: usize, pause: Duration) {
        let mut file = File::create(path).unwrap();
        for piece in bytes.chunks(bytes.len().div_ceil(pieces)) {
            file.write_all(piece).unwrap();
            file.flush().unwrap();
            thread::sleep(pause);
        }
    }

    #[test]
    fn a_frame_written_slowly_in_place_is_taken_only_when_whole() {
        let mut bench = bench(options());
        bench.on_fire(|card, n| {
            write_slowly(&card.join(format!("IMG_{n}.JPG")), &jpeg(n as u8), 6, Duration::from_millis(150));
        });
        for stop in 1..=3 {
            let arrivals = bench.shoot(stop.into(), stop).unwrap();
            assert_eq!(contents(&arrivals), [jpeg(stop as u8)]);
        }
        // The photographer's files stay where they are.
        assert!(bench.dir.path().join("card/IMG_1.JPG").exists());
        assert!(bench.camera.take_held().is_empty());
    }

    #[test]
    fn a_frame_renamed_into_place_is_taken() {
        let mut bench = bench(options());
        bench.on_fire(|card, n| {
            let part = card.join(format!(".IMG_{n}.tmp"));
            write_slowly(&part, &jpeg(n as u8), 3, Duration::from_millis(60));
            fs::rename(&part, card.join(format!("IMG_{n}.JPG"))).unwrap();
        });
        for stop in 1..=2 {
            assert_eq!(contents(&bench.shoot(stop.into(), stop).unwrap()), [jpeg(stop as u8)]);
        }
    }

    #[test]
    fn raw_and_jpeg_stay_together() {
        let mut bench = bench(options());
        bench.on_fire(|card, n| {
            write_slowly(&card.join(format!("IMG_{n}.JPG")), &jpeg(n as u8), 2, Duration::from_millis(40));
            thread::sleep(Duration::from_millis(150));
            write_slowly(&card.join(format!("IMG_{n}.CR2")), &raw(n as u8), 4, Duration::from_millis(100));
        });
        for stop in 1..=3 {
            let mut got = contents(&bench.shoot(stop.into(), stop).unwrap());
            got.sort();
            let mut wanted = vec![jpeg(stop as u8), raw(stop as u8)];
            wanted.sort();
            assert_eq!(got, wanted, "stop {stop}");
        }
    }

    #[test]
    fn a_camera_that_opens_a_new_folder_now_and_then_is_followed() {
        let mut bench = bench(options());
        bench.on_fire(|card, n| {
            // As cards are laid out: DCIM, then a folder for each hundred frames.
            let folder = card.join("DCIM").join(format!("10{}KILN", n / 2));
            fs::create_dir_all(&folder).unwrap();
            write_slowly(&folder.join(format!("IMG_{n}.CR2")), &raw(n as u8), 3, Duration::from_millis(50));
            write_slowly(&folder.join(format!("IMG_{n}.jpeg")), &jpeg(n as u8), 3, Duration::from_millis(50));
        });
        for stop in 1..=4 {
            let mut got = contents(&bench.shoot(stop.into(), stop).unwrap());
            got.sort();
            assert_eq!(got, [raw(stop as u8), jpeg(stop as u8)], "stop {stop}");
        }
    }

    #[test]
    fn the_set_itself_may_lie_in_the_watched_folder() {
        let mut bench = bench(options());
        let set = bench.dir.path().join("card/sets/LH-1");
        fs::create_dir_all(set.join("frames")).unwrap();
        fs::write(set.join("session.json"), "{}").unwrap();
        bench.on_fire(move |card, n| {
            fs::write(set.join(format!("frames/KEPT_{n}.jpg")), jpeg(90)).unwrap();
            fs::write(card.join(format!("IMG_{n}.JPG")), jpeg(n as u8)).unwrap();
        });
        for stop in 1..=2 {
            assert_eq!(contents(&bench.shoot(stop.into(), stop).unwrap()), [jpeg(stop as u8)]);
        }
        assert!(bench.camera.take_held().is_empty());
    }

    #[test]
    fn half_a_pair_is_no_frame() {
        let mut bench = bench(FolderOptions { frame_timeout: Duration::from_millis(1500), ..options() });
        bench.on_fire(|card, n| {
            if n == 1 {
                fs::write(card.join("IMG_1.CR2"), raw(1)).unwrap();
            }
            fs::write(card.join(format!("IMG_{n}.JPG")), jpeg(n as u8)).unwrap();
        });
        assert_eq!(bench.shoot(1, 1).unwrap().len(), 2);
        let error = bench.shoot(2, 2).unwrap_err().to_string();
        assert!(error.contains("one file of the pair is missing"), "{error}");
        assert_eq!(bench.camera.take_held().len(), 1);
    }

    #[test]
    fn two_frames_for_one_stop_are_held_and_none_is_guessed() {
        let mut bench = bench(options());
        bench.on_fire(|card, n| {
            fs::write(card.join(format!("IMG_{n}A.JPG")), jpeg(1)).unwrap();
            fs::write(card.join(format!("IMG_{n}B.JPG")), jpeg(2)).unwrap();
        });
        let error = bench.shoot(1, 1).unwrap_err();
        assert!(matches!(error, CameraError::TooMany { count: 2, .. }), "{error}");
        assert_eq!(bench.camera.take_held().len(), 2);
    }

    #[test]
    fn no_frame_at_all_is_said_with_what_to_check() {
        let mut bench = bench(FolderOptions { frame_timeout: Duration::from_millis(400), ..options() });
        bench.on_fire(|_, _| {});
        let error = bench.shoot(1, 1).unwrap_err().to_string();
        assert!(
            error.contains("no complete frame") && error.contains("check that the camera saves"),
            "{error}"
        );
    }

    #[test]
    fn a_file_that_is_no_picture_or_cut_short_is_told_apart() {
        for (bytes, words) in [
            (b"<html>".to_vec(), "not a picture"),
            (jpeg(1)[..9000].to_vec(), "cut short"),
            (vec![], "empty"),
        ] {
            let mut bench = bench(FolderOptions { frame_timeout: Duration::from_secs(3), ..options() });
            bench.on_fire(move |card, _| fs::write(card.join("IMG.JPG"), &bytes).unwrap());
            let error = bench.shoot(1, 1).unwrap_err().to_string();
            assert!(error.contains(words), "{words}: {error}");
        }
    }

    #[test]
    fn a_late_frame_is_held_and_never_shifted_to_the_next_angle() {
        let mut bench = bench(FolderOptions { frame_timeout: Duration::from_millis(800), ..options() });
        // The first frame comes long after its wait has ended, into the second stop's wait.
        bench.on_fire(|card, n| {
            let card = card.to_owned();
            thread::spawn(move || {
                let wait = if n == 1 { 1300 } else { 100 };
                thread::sleep(Duration::from_millis(wait));
                fs::write(card.join(format!("IMG_{n}.JPG")), jpeg(n as u8)).unwrap();
            });
        });
        assert!(bench.shoot(1, 1).is_err());
        let second = bench.shoot(2, 2);
        assert!(second.is_err(), "a frame that may be another stop's was taken: {second:?}");
        assert!(!bench.camera.take_held().is_empty());
        // Asked again at the same stop, the frame that comes is certainly of this angle.
        thread::sleep(Duration::from_millis(600));
        assert_eq!(contents(&bench.shoot(3, 2).unwrap()), [jpeg(3)]);
    }

    #[test]
    fn a_stop_left_without_its_frame_is_not_forgotten_before_its_frame_has_come() {
        let mut bench = bench(FolderOptions { frame_timeout: Duration::from_millis(1500), ..options() });
        // The first frame comes long after the second, into the second stop's wait.
        bench.on_fire(|card, n| {
            let card = card.to_owned();
            thread::spawn(move || {
                thread::sleep(Duration::from_millis(if n == 1 { 2500 } else { 100 }));
                fs::write(card.join(format!("IMG_{n}.JPG")), jpeg(n as u8)).unwrap();
            });
        });
        assert!(bench.shoot(1, 3).is_err());
        let error = bench.shoot(2, 4).unwrap_err().to_string();
        assert!(error.contains("an exposure at stop 3"), "{error}");
        let mut held = contents(&bench.camera.take_held());
        held.sort();
        assert_eq!(held, [jpeg(1), jpeg(2)]);
        // Now nothing is out any more: the retry's frame is taken, and no other with it.
        assert_eq!(contents(&bench.shoot(3, 4).unwrap()), [jpeg(3)]);
        assert!(bench.camera.take_held().is_empty());
    }

    #[test]
    fn a_frame_that_never_comes_holds_the_set_up_once() {
        let mut bench = bench(FolderOptions { frame_timeout: Duration::from_millis(900), ..options() });
        bench.on_fire(|card, n| {
            if n > 1 {
                fs::write(card.join(format!("IMG_{n}.JPG")), jpeg(n as u8)).unwrap();
            }
        });
        assert!(bench.shoot(1, 1).is_err());
        assert!(bench.shoot(2, 2).is_err(), "it may be the first stop's");
        assert_eq!(contents(&bench.shoot(3, 2).unwrap()), [jpeg(3)]);
        assert_eq!(contents(&bench.shoot(4, 3).unwrap()), [jpeg(4)]);
    }

    /// A line that reports a time-out although the camera has fired.
    struct Unsure<'a>(&'a SyncLine);
    impl ShutterLine for Unsure<'_> {
        fn fire(&self, press: Duration) -> Result<(), String> {
            self.0.fire(press)?;
            Err("no answer".to_owned())
        }
    }

    #[test]
    fn an_exposure_that_may_have_been_made_counts_as_one_that_is_out() {
        for cancelled in [false, true] {
            let mut bench = bench(options());
            let slow = |card: &Path, n: u32| {
                let card = card.to_owned();
                thread::spawn(move || {
                    thread::sleep(Duration::from_millis(if n == 1 { 300 } else { 100 }));
                    fs::write(card.join(format!("IMG_{n}.JPG")), jpeg(n as u8)).unwrap();
                });
            };
            bench.on_fire(slow);
            let first = request(bench.dir.path(), 1, 1);
            let cancel = CancelToken::default();
            let result = if cancelled {
                // Fired by hand just as the session is stopped.
                cancel.cancel();
                let result = bench.camera.expose(&first, &context(&cancel, None));
                bench.line.fire(Duration::ZERO).unwrap();
                result
            } else {
                bench.camera.expose(&first, &context(&cancel, Some(&Unsure(&bench.line))))
            };
            assert!(result.is_err());
            let second = bench.shoot(2, 2);
            assert!(second.is_err(), "a frame that may be another stop's was taken: {second:?}");
            assert_eq!(bench.camera.take_held().len(), 2);
            assert_eq!(contents(&bench.shoot(3, 2).unwrap()), [jpeg(3)]);
        }
    }

    #[test]
    fn a_file_opened_again_after_it_was_closed_is_not_taken_for_whole() {
        let mut bench = bench(FolderOptions { pair_wait: Duration::from_millis(100), ..options() });
        bench.on_fire(|card, n| {
            let path = card.join(format!("IMG_{n}.CR2"));
            let bytes = raw(n as u8);
            if n == 1 {
                fs::write(&path, bytes).unwrap();
                return;
            }
            // Made, closed, and only then filled, as some tethering programs do.
            fs::write(&path, &bytes[..100]).unwrap();
            let mut file = File::options().append(true).open(&path).unwrap();
            for piece in bytes[100..].chunks(10_000) {
                thread::sleep(Duration::from_millis(50));
                file.write_all(piece).unwrap();
                file.flush().unwrap();
                thread::sleep(Duration::from_millis(400));
            }
        });
        for stop in 1..=2 {
            assert_eq!(contents(&bench.shoot(stop.into(), stop).unwrap()), [raw(stop as u8)]);
        }
    }

    #[test]
    fn a_frame_that_comes_before_the_shutter_fires_is_held() {
        let mut bench = bench(options());
        bench.on_fire(|card, n| fs::write(card.join(format!("IMG_{n}.JPG")), jpeg(n as u8)).unwrap());
        fs::write(bench.dir.path().join("card/STRAY.JPG"), jpeg(50)).unwrap();
        assert_eq!(contents(&bench.shoot(1, 1).unwrap()), [jpeg(1)]);
        assert_eq!(contents(&bench.camera.take_held()), [jpeg(50)]);
    }

    #[test]
    fn fired_by_hand_the_person_is_asked() {
        let mut bench = bench(FolderOptions { trigger: Trigger::Hand, ..options() });
        let card = bench.dir.path().join("card");
        let asked = std::sync::Mutex::new(Vec::new());
        let prompt = |text: String| {
            asked.lock().unwrap().push(text);
            let card = card.clone();
            thread::spawn(move || {
                write_slowly(&card.join("HAND.JPG"), &jpeg(5), 4, Duration::from_millis(80));
            });
        };
        let cancel = CancelToken::default();
        let context = CameraContext { cancel: &cancel, shutter: Some(&bench.line), prompt: &prompt };
        let request = request(bench.dir.path(), 1, 3);
        bench.camera.expose(&request, &context).unwrap();
        let arrivals = bench.camera.fetch(&request, &context).unwrap();
        assert_eq!(contents(&arrivals), [jpeg(5)]);
        assert_eq!(*asked.lock().unwrap(), ["Fire the shutter now for stop 3 at 22.5°."]);
    }

    #[test]
    fn a_folder_that_is_not_there_or_goes_away_is_said() {
        let mut camera = FolderCamera::new(PathBuf::from("no/such/folder"), options());
        assert!(camera.probe().unwrap_err().to_string().contains("no/such/folder"));
        let mut bench = bench(options());
        fs::rename(bench.dir.path().join("card"), bench.dir.path().join("gone")).unwrap();
        assert!(matches!(bench.shoot(1, 1), Err(CameraError::Lost(_))));
    }
}
