//! The child's side of an order: calls into libgphoto2, no decisions.

use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use gphoto2::camera::CameraEvent;
use gphoto2::list::CameraDescriptor;
use gphoto2::widget::{ToggleWidget, Widget};
use gphoto2::{Camera, Context};

use super::choice;
use super::wire::{
    Answer, CardFile, Found, Identity, News, Order, Reply, Setting, State, Trouble, TroubleKind,
};

/// The names under which libgphoto2's drivers know each of [`super::SETTINGS`], the commonest first.
const DRIVER_NAMES: [&[&str]; 8] = [
    &["expprogram", "autoexposuremode", "autoexposuremodedial", "exposuremode", "shootingmode"],
    &["shutterspeed", "shutterspeed2", "exptime"],
    &["aperture", "f-number"],
    &["iso"],
    &["whitebalance"],
    &["focusmode"],
    &["imageformat", "imagequality"],
    &["capturetarget"],
];
/// What libgphoto2 calls any camera on the network.
const NETWORK_MODEL: &str = "PTP/IP Camera";
/// A pause between two looks for events: drivers may answer at once that there is none.
const LOOK_EVERY: Duration = Duration::from_millis(5);
/// How long a camera may take to show a value that was set.
const READ_BACK: Duration = Duration::from_secs(2);

/// The camera this process holds.
#[derive(Default)]
pub struct Device {
    /// One for the process: only the first one's messages are caught.
    context: Option<Context>,
    camera: Option<Camera>,
    /// Whether live view may be running.
    live: bool,
}

impl Device {
    /// Does what it is told.
    pub fn carry_out(&mut self, order: Order) -> Reply {
        // What was said before belongs to another order.
        let _ = super::log::take();
        self.try_to(order).map_err(|mut trouble| {
            // A dropped line shows as an error like any other; only a further question tells.
            if trouble.kind == TroubleKind::Other
                && self.camera.as_ref().is_some_and(|camera| camera.storages().wait().is_err())
            {
                trouble.kind = TroubleKind::Lost;
            }
            trouble
        })
    }

    fn try_to(&mut self, order: Order) -> Reply {
        match order {
            Order::List => Ok(Answer::Cameras(self.list()?)),
            Order::Open { port, known } => self.open(port.as_deref(), known.as_ref()),
            Order::Settings => self.settings(),
            Order::Set { name, value } => self.set(&name, &value),
            Order::State => self.state(),
            Order::Trigger => self.trigger(),
            Order::Events { for_ms } => self.events(Duration::from_millis(for_ms)),
            Order::Download { file, to } => self.download(&file, &to),
            Order::Remove { file } => {
                let camera = self.camera()?;
                camera.fs().delete_file(&file.folder, &file.name).wait().map_err(trouble)?;
                Ok(Answer::Done)
            }
            Order::Live { to } => self.live(&to),
        }
    }

    fn context(&mut self) -> Result<Context, Trouble> {
        if let Some(context) = &self.context {
            return Ok(context.clone());
        }
        let context = Context::new().map_err(trouble)?;
        self.context = Some(context.clone());
        Ok(context)
    }

    fn camera(&self) -> Result<&Camera, Trouble> {
        self.camera
            .as_ref()
            .ok_or_else(|| Trouble { kind: TroubleKind::Lost, text: "no camera is open".to_owned() })
    }

    fn list(&mut self) -> Result<Vec<Found>, Trouble> {
        let cameras = self.context()?.list_cameras().wait().map_err(trouble)?;
        Ok(cameras.map(|found| Found { model: found.model, port: found.port }).collect())
    }

    fn open(&mut self, port: Option<&str>, known: Option<&Identity>) -> Reply {
        self.camera = None;
        let descriptor = match port {
            Some(port) if port.starts_with("ptpip:") => {
                CameraDescriptor { model: NETWORK_MODEL.to_owned(), port: port.to_owned() }
            }
            _ => {
                let here = self.list()?;
                let found = pick(&here, port, known.is_some())?;
                CameraDescriptor { model: found.model.clone(), port: found.port.clone() }
            }
        };
        let context = self.context()?;
        let camera = context.get_camera(&descriptor).wait().map_err(trouble)?;
        // Opening says yes with nothing there; this talks to the camera.
        camera.about().map_err(trouble)?;
        let told = |name: &str| text_of(&camera, name).unwrap_or_default();
        let model = Some(told("cameramodel")).filter(|model| !model.is_empty()).unwrap_or(descriptor.model);
        let serial = Some(told("serialnumber")).filter(|serial| !serial.is_empty());
        let identity = Identity {
            maker: told("manufacturer"),
            model,
            serial: serial.unwrap_or_else(|| told("eosserialnumber")),
        };
        if let Some(known) = known.filter(|known| **known != identity) {
            return Err(Trouble {
                kind: TroubleKind::Setup,
                text: format!(
                    "the session began with the camera {known}, but {identity} answers now; plug the first one in again"
                ),
            });
        }
        self.camera = Some(camera);
        Ok(Answer::Opened(identity))
    }

    fn settings(&self) -> Reply {
        let camera = self.camera()?;
        let mut settings = Vec::new();
        for (name, driver_names) in super::SETTINGS.iter().zip(DRIVER_NAMES) {
            // One that is absent is normal.
            let Some(widget) = widget(camera, driver_names) else { continue };
            if let Some(value) = value_of(&widget) {
                let choices = if widget.readonly() { Vec::new() } else { choices_of(&widget) };
                settings.push(Setting { name: (*name).to_owned(), value, choices });
            }
        }
        Ok(Answer::Settings(settings))
    }

    fn set(&self, name: &str, wanted: &str) -> Reply {
        let setup = |text: String| Err(Trouble { kind: TroubleKind::Setup, text });
        let camera = self.camera()?;
        let Some(at) = super::SETTINGS.iter().position(|known| *known == name) else {
            return setup(format!("'{name}' is no setting; known are {}", super::SETTINGS.join(", ")));
        };
        let Some(widget) = widget(camera, DRIVER_NAMES[at]) else {
            return setup(format!(
                "this camera does not let its {name} be set from here; set it on the camera and leave it out"
            ));
        };
        if widget.readonly() {
            return setup(format!(
                "the camera's {name} can only be read at present; look at its mode dial, or set it on the camera"
            ));
        }
        let value = match &widget {
            Widget::Radio(radio) => {
                let choices = choices_of(&widget);
                let Some(choice) = choice::find(&choices, wanted) else {
                    return setup(format!(
                        "the camera has no {name} '{wanted}'; it has {}",
                        choices.join(", ")
                    ));
                };
                radio.set_choice(choice).map_err(trouble)?;
                choice.clone()
            }
            Widget::Text(text) => {
                text.set_value(wanted).map_err(trouble)?;
                wanted.to_owned()
            }
            _ => return setup(format!("the camera's {name} cannot be set in words; set it on the camera")),
        };
        camera.set_config(&widget).wait().map_err(trouble)?;
        self.read_back(DRIVER_NAMES[at], name, &value)
    }

    fn read_back(&self, driver_names: &[&str], name: &str, wanted: &str) -> Reply {
        let camera = self.camera()?;
        let deadline = Instant::now() + READ_BACK;
        loop {
            let is = widget(camera, driver_names).and_then(|widget| value_of(&widget));
            if is.as_deref() == Some(wanted) {
                return Ok(Answer::Done);
            }
            if Instant::now() >= deadline {
                let is = is.unwrap_or_else(|| "nothing".to_owned());
                return Err(Trouble {
                    kind: TroubleKind::Setup,
                    text: format!(
                        "the camera was told {name} '{wanted}' but shows '{is}'; look at its mode dial"
                    ),
                });
            }
            thread::sleep(LOOK_EVERY * 20);
        }
    }

    fn state(&self) -> Reply {
        let camera = self.camera()?;
        let battery = text_of(camera, "batterylevel").filter(|text| !text.is_empty());
        let free_bytes = match camera.storages().wait() {
            // The library's wrapper gives bytes under the name of kilobytes.
            Ok(stores) => {
                stores.iter().filter_map(gphoto2::filesys::StorageInfo::free_kb).reduce(|a, b| a + b)
            }
            Err(_) => None,
        };
        Ok(Answer::State(State { battery, free_bytes }))
    }

    fn trigger(&mut self) -> Reply {
        if std::mem::take(&mut self.live) {
            // Best effort: a camera that needs it says so at the trigger.
            let camera = self.camera()?;
            if let Ok(finder) = camera.config_key::<ToggleWidget>("viewfinder").wait() {
                finder.set_toggled(false);
                let _ = camera.set_config(&finder).wait();
            }
        }
        let camera = self.camera()?;
        match camera.trigger_capture().wait() {
            Ok(()) => Ok(Answer::Done),
            Err(error) => {
                let mut trouble = trouble(error);
                let full = trouble.kind != TroubleKind::Lost
                    && matches!(self.state(), Ok(Answer::State(State { free_bytes: Some(0), .. })));
                if full {
                    trouble.kind = TroubleKind::Full;
                }
                Err(trouble)
            }
        }
    }

    fn events(&self, longest: Duration) -> Reply {
        let camera = self.camera()?;
        let deadline = Instant::now() + longest;
        loop {
            let left = deadline.saturating_duration_since(Instant::now());
            let news =
                match camera.wait_event(left.min(Duration::from_millis(100))).wait().map_err(trouble)? {
                    CameraEvent::NewFile(path) => Some(News::File(CardFile {
                        folder: path.folder().into_owned(),
                        name: path.name().into_owned(),
                    })),
                    CameraEvent::CaptureComplete => Some(News::Complete),
                    _ => None,
                };
            if let Some(news) = news {
                return Ok(Answer::News(vec![news]));
            }
            if Instant::now() >= deadline {
                return Ok(Answer::News(Vec::new()));
            }
            thread::sleep(LOOK_EVERY);
        }
    }

    fn download(&self, file: &CardFile, to: &Path) -> Reply {
        let camera = self.camera()?;
        let fs = camera.fs();
        let stated = fs.file_info(&file.folder, &file.name).wait().map_err(trouble)?.file().size();
        let copy = fs.download_to(&file.folder, &file.name, to).wait().map_err(trouble)?;
        // Closes the copy.
        drop(copy);
        let bytes = std::fs::metadata(to).map_err(|error| on_disk(to, &error))?.len();
        Ok(Answer::Copied { bytes, stated })
    }

    fn live(&mut self, to: &Path) -> Reply {
        let first = !self.live;
        let camera = self.camera()?;
        if !camera.abilities().camera_operations().capture_preview() {
            return Ok(Answer::Live(false));
        }
        let preview = || camera.capture_preview().wait().map_err(trouble);
        let frame = match preview() {
            // The first frame after live view has started may be an old one.
            Ok(_) if first => preview(),
            other => other,
        };
        let frame = match frame {
            Ok(frame) => frame,
            Err(Trouble { kind: TroubleKind::Unsupported, .. }) => return Ok(Answer::Live(false)),
            Err(trouble) => return Err(trouble),
        };
        let bytes = frame.get_data(camera).wait().map_err(trouble)?;
        std::fs::File::create_new(to)
            .and_then(|mut out| std::io::Write::write_all(&mut out, &bytes))
            .map_err(|error| on_disk(to, &error))?;
        self.live = true;
        Ok(Answer::Live(true))
    }
}

/// The camera meant by a port, or the only one there. One that was plugged in again may be on another port.
fn pick<'a>(here: &'a [Found], port: Option<&str>, seen_before: bool) -> Result<&'a Found, Trouble> {
    if let Some(port) = port {
        if let Some(found) = here.iter().find(|found| found.port == port) {
            return Ok(found);
        }
        if !seen_before {
            return Err(lost(format!("no camera is on {port}; {}", what_is_here(here))));
        }
    }
    match here {
        [only] => Ok(only),
        [] => Err(lost("no camera is plugged in, or it is asleep".to_owned())),
        _ => Err(Trouble {
            kind: TroubleKind::Setup,
            text: format!("more than one camera is plugged in; name one: {}", what_is_here(here)),
        }),
    }
}

fn what_is_here(here: &[Found]) -> String {
    if here.is_empty() {
        return "none is plugged in".to_owned();
    }
    let list = here.iter().map(|found| format!("{} is tether:{}", found.model, found.port));
    list.collect::<Vec<_>>().join(", ")
}

fn lost(text: String) -> Trouble {
    Trouble { kind: TroubleKind::Lost, text }
}

fn on_disk(to: &Path, error: &std::io::Error) -> Trouble {
    Trouble { kind: TroubleKind::Other, text: format!("{}: {error}", to.display()) }
}

fn widget(camera: &Camera, driver_names: &[&str]) -> Option<Widget> {
    driver_names.iter().find_map(|name| camera.config_key::<Widget>(name).wait().ok())
}

fn value_of(widget: &Widget) -> Option<String> {
    match widget {
        Widget::Radio(radio) => Some(radio.choice()),
        Widget::Text(text) => Some(text.value()),
        Widget::Range(range) => Some(range.value().to_string()),
        Widget::Toggle(toggle) => Some(if toggle.toggled()? { "on" } else { "off" }.to_owned()),
        _ => None,
    }
}

fn choices_of(widget: &Widget) -> Vec<String> {
    match widget {
        Widget::Radio(radio) => radio.choices_iter().collect(),
        _ => Vec::new(),
    }
}

fn text_of(camera: &Camera, name: &str) -> Option<String> {
    value_of(&widget(camera, &[name])?).map(|text| text.trim().to_owned())
}

/// Sorts an error by what can be done about it, with what the library said beside it.
#[allow(clippy::needless_pass_by_value, reason = "it stands in map_err")]
fn trouble(error: gphoto2::Error) -> Trouble {
    use gphoto2::error::ErrorKind as E;
    let text = match super::log::take() {
        // 'Unspecified error' says nothing beside the camera's own words.
        Some(said) if error.kind() == E::Other => said,
        Some(said) => format!("{error}: {said}"),
        None => error.to_string(),
    };
    let kind = match error.kind() {
        E::CameraBusy => TroubleKind::Busy,
        E::NoSpace => TroubleKind::Full,
        E::NotSupported => TroubleKind::Unsupported,
        E::IoUsbClaim | E::IoLock => TroubleKind::Claimed,
        E::Io
        | E::IoRead
        | E::IoWrite
        | E::IoUpdate
        | E::IoUsbFind
        | E::IoUsbClearHalt
        | E::Timeout
        | E::OsFailure
        | E::ModelNotFound
        | E::UnknownPort => TroubleKind::Lost,
        _ => TroubleKind::Other,
    };
    Trouble { kind, text }
}

#[cfg(test)]
mod tests {
    use super::{Found, TroubleKind, pick, trouble};

    fn here(ports: &[&str]) -> Vec<Found> {
        let found = |port: &&str| Found { model: "Larkhollow One".to_owned(), port: (*port).to_owned() };
        ports.iter().map(found).collect()
    }

    #[test]
    fn a_camera_is_never_guessed() {
        let port = |here: &[Found], port, seen| pick(here, port, seen).map(|found| found.port.clone());
        let (none, one, two) = (here(&[]), here(&["usb:001,004"]), here(&["usb:001,004", "usb:001,005"]));
        assert_eq!(port(&one, None, false).as_deref(), Ok("usb:001,004"));
        assert_eq!(port(&two, Some("usb:001,005"), false).as_deref(), Ok("usb:001,005"));
        assert_eq!(port(&none, None, false).unwrap_err().kind, TroubleKind::Lost);
        let error = port(&two, None, false).unwrap_err();
        assert!(error.text.contains("tether:usb:001,004") && error.text.contains("tether:usb:001,005"));
        // On another port only when it was there before: plugged in again it gets a new one.
        assert_eq!(port(&one, Some("usb:001,009"), false).unwrap_err().kind, TroubleKind::Lost);
        assert_eq!(port(&one, Some("usb:001,009"), true).as_deref(), Ok("usb:001,004"));
        assert_eq!(port(&two, Some("usb:001,009"), true).unwrap_err().kind, TroubleKind::Setup);
    }

    #[test]
    fn errors_are_sorted_by_what_can_be_done() {
        // Numbers of libgphoto2's gphoto2-port-result.h and gphoto2-result.h, as installed.
        for (number, kind) in [
            (-53, TroubleKind::Claimed),
            (-60, TroubleKind::Claimed),
            (-110, TroubleKind::Busy),
            (-115, TroubleKind::Full),
            (-52, TroubleKind::Lost),
            (-34, TroubleKind::Lost),
            (-10, TroubleKind::Lost),
            (-6, TroubleKind::Unsupported),
            (-1, TroubleKind::Other),
        ] {
            assert_eq!(trouble(gphoto2::Error::new(number, None)).kind, kind, "{number}");
        }
    }
}
