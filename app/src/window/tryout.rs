//! Trying table and camera out before a session: turning by hand, test frames, the live picture.
//!
//! What is tried out here is handed to the session as it is, so a board that forgets where it stands when
//! its port is opened is opened once.

use std::time::{Duration, Instant};

use egui::ColorImage;
use session_core::angle::Angle;
use session_core::camera::ExposureRequest;
use session_core::camera::settings::CameraSettings;
use session_core::cancel::CancelToken;

use crate::single_shot;
use crate::studio::{self, CameraSpec, Studio, StudioOptions, TableSpec};
use crate::window::text::t;

/// The longer side of a live picture on screen, pixels.
const LIVE_EDGE_PX: u32 = 1536;

/// What to try.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trial {
    /// Open both and see what they say of themselves.
    Connect,
    /// Turn the plate by so many degrees, anticlockwise positive.
    Turn(f64),
    /// The present place is 0°.
    ZeroIsHere,
    /// Close the shutter contact for a moment.
    FireShutter,
    /// Make a frame that is kept nowhere.
    TestFrame,
    /// Show the live picture, or no longer.
    Live(bool),
}

/// Table and camera as connected for trying out.
#[derive(Debug, Clone, PartialEq)]
pub struct TryoutView {
    /// The table's name.
    pub table: String,
    /// The camera's name.
    pub camera: String,
    /// Where the plate stands, degrees anticlockwise; from the last zero, if one is set.
    pub plate_deg: Option<f64>,
    /// Whether the table knows where it stands.
    pub knows_zero: bool,
    /// Whether it has a line to the shutter.
    pub has_shutter: bool,
    /// What the camera is set to, in words, if it tells.
    pub camera_settings: Option<String>,
    /// Whether the live picture runs.
    pub live: bool,
}

/// A picture from the camera that belongs to no stop.
pub struct LivePicture {
    /// The pixels.
    pub image: ColorImage,
    /// From asking to having it, seconds.
    pub delay_secs: f64,
    /// Whether it is a test frame rather than one of many.
    pub test: bool,
}

impl std::fmt::Debug for LivePicture {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "LivePicture({:?}, {:.3} s)", self.image.size, self.delay_secs)
    }
}

/// Open devices on trial.
pub struct Tryout {
    specs: (TableSpec, CameraSpec),
    studio: Studio,
    camera_settings: Option<String>,
    live: bool,
    shots: u64,
}

impl Tryout {
    /// Opens table and camera and asks both who they are.
    ///
    /// # Errors
    /// A sentence for people.
    pub fn open(table: &TableSpec, camera: &CameraSpec, options: &StudioOptions) -> Result<Self, String> {
        let mut studio = studio::open(table, camera, options)?;
        studio.camera.probe().map_err(|error| error.to_string())?;
        let camera_settings = studio.camera.settings().map_err(|error| error.to_string())?;
        let camera_settings = camera_settings.map(|settings| in_words(&settings));
        Ok(Self { camera_settings, ..Self::of((table.clone(), camera.clone()), studio) })
    }

    /// Takes devices over that are open already, as of a session that has ended.
    pub fn of(specs: (TableSpec, CameraSpec), studio: Studio) -> Self {
        Self { specs, studio, camera_settings: None, live: false, shots: 0 }
    }

    /// Whether these are the devices asked for.
    pub fn is(&self, table: &TableSpec, camera: &CameraSpec) -> bool {
        (&self.specs.0, &self.specs.1) == (table, camera)
    }

    /// Gives the devices up, to a session.
    pub fn into_studio(self) -> Studio {
        self.studio
    }

    /// The devices, for one exposure.
    pub fn studio(&mut self) -> &mut Studio {
        &mut self.studio
    }

    /// Whether the live picture runs.
    pub fn is_live(&self) -> bool {
        self.live
    }

    /// What can be said of the devices now.
    ///
    /// # Errors
    /// A sentence when the table does not answer.
    pub fn view(&mut self) -> Result<TryoutView, String> {
        let position = self.studio.table.position().map_err(|error| error.to_string())?;
        let facts = self.studio.table.facts();
        Ok(TryoutView {
            table: facts.name.clone(),
            camera: self.studio.camera.name(),
            plate_deg: Some(facts.steps_per_turn.angle_of(position.step).degrees()),
            knows_zero: position.zero.is_some(),
            has_shutter: facts.has_shutter,
            camera_settings: self.camera_settings.clone(),
            live: self.live,
        })
    }

    /// Tries something; may give a picture. `prompt` is called with what a person has to do.
    ///
    /// # Errors
    /// A sentence for people.
    pub fn carry_out(
        &mut self,
        trial: Trial,
        cancel: &CancelToken,
        prompt: &dyn Fn(String),
    ) -> Result<Option<LivePicture>, String> {
        let said = |error: session_core::turntable::TableError| error.to_string();
        let table = &mut self.studio.table;
        match trial {
            Trial::Connect => {}
            Trial::Turn(degrees) => {
                let steps = table.facts().steps_per_turn;
                let by = degrees.to_string().parse::<Angle>().map_err(|error| error.to_string())?;
                let to = table.position().map_err(said)?.step + steps.nearest_step(by);
                table.turn_to(to, cancel, &mut |_| {}).map_err(said)?;
            }
            Trial::ZeroIsHere => {
                table.set_zero().map_err(said)?;
            }
            Trial::FireShutter => table.fire_shutter(Duration::from_millis(200)).map_err(said)?,
            Trial::TestFrame => return self.test_frame(cancel, prompt).map(Some),
            Trial::Live(live) => {
                self.live = live;
                if live {
                    return self.live_picture();
                }
            }
        }
        Ok(None)
    }

    /// One picture of the live ones; ends them when there are none.
    ///
    /// # Errors
    /// A sentence for people.
    pub fn live_picture(&mut self) -> Result<Option<LivePicture>, String> {
        let asked = Instant::now();
        let frame = self.studio.camera.live_frame().inspect_err(|_| self.live = false);
        let Some(bytes) = frame.map_err(|error| error.to_string())? else {
            self.live = false;
            return Err(t!("tryout-this-camera-gives-no-live"));
        };
        picture_of(&bytes, asked, false).map(Some).inspect_err(|_| self.live = false)
    }

    fn test_frame(&mut self, cancel: &CancelToken, prompt: &dyn Fn(String)) -> Result<LivePicture, String> {
        let inbox = tempfile::tempdir()
            .map_err(|error| t!("tryout-no-folder-for-a-test", error = error.to_string()))?;
        let asked = Instant::now();
        self.shots += 1;
        let request = ExposureRequest {
            shot: u64::MAX / 2 + self.shots,
            stop: 0,
            row: "test".to_owned(),
            degrees_text: "0".to_owned(),
            sku: "TEST".to_owned(),
            empty_table: false,
            exposure: Duration::from_millis(250),
            inbox: inbox.path().to_owned(),
        };
        let arrivals = single_shot::expose(&mut self.studio, &request, cancel, prompt)?;
        let frame = arrivals.first().ok_or_else(|| t!("tryout-the-camera-made-no-file"))?;
        picture_of(&single_shot::bytes_of(frame)?, asked, true)
    }
}

fn in_words(settings: &CameraSettings) -> String {
    let told = [
        &settings.exposure_mode,
        &settings.shutter,
        &settings.aperture,
        &settings.iso,
        &settings.white_balance,
        &settings.focus_mode,
        &settings.image_format,
    ];
    told.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(", ")
}

fn picture_of(bytes: &[u8], asked: Instant, test: bool) -> Result<LivePicture, String> {
    let decoded = imaging::decode::preview(bytes, LIVE_EDGE_PX).map_err(|error| error.to_string())?;
    let picture = decoded.picture;
    let size = [picture.width_px() as usize, picture.height_px() as usize];
    let image = ColorImage::from_rgb(size, picture.rgb());
    Ok(LivePicture { image, delay_secs: asked.elapsed().as_secs_f64(), test })
}
