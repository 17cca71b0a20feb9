//! The desk's part that works with devices outside a session: trying out, one frame of the empty table, probing.

use std::path::Path;

use session_core::calibration::store::TableCalibration;
use session_core::cancel::CancelToken;
use session_core::journal::SessionFolder;
use session_core::runner::Devices;
use session_core::turntable::serial;

use super::{DeskNews, Worker};
use crate::single_shot;
use crate::studio::{CameraSpec, Studio, StudioOptions, TableSpec};
use crate::window::text::t;
use crate::window::tryout::{Trial, Tryout, TryoutView};

/// What is known of a session's devices beside the devices themselves, which the session holds.
pub(super) struct StudioFacts {
    specs: (TableSpec, CameraSpec),
    calibration: Option<TableCalibration>,
    notes: Vec<String>,
}

impl StudioFacts {
    /// Notes what devices come with before a session takes them.
    pub(super) fn of(table: TableSpec, camera: CameraSpec, studio: &Studio) -> Self {
        let (calibration, notes) = (studio.calibration.clone(), studio.notes.clone());
        Self { specs: (table, camera), calibration, notes }
    }

    /// Takes the devices of a session that has ended over for trying them out.
    fn tryout(self, devices: Devices) -> Tryout {
        let Devices { table, camera, clock } = devices;
        let Self { specs, calibration, notes } = self;
        Tryout::of(specs, Studio { clock, table, camera, calibration, notes })
    }
}

impl Worker {
    pub(super) fn try_out(
        &mut self,
        table: &TableSpec,
        camera: &CameraSpec,
        options: &StudioOptions,
        trial: Trial,
        cancel: &CancelToken,
    ) -> Result<TryoutView, String> {
        let serves = |tryout: &mut Tryout| {
            // Whoever connects once more has mended what was lost.
            tryout.is(table, camera) && (trial != Trial::Connect || tryout.view().is_ok())
        };
        if !self.tryout.as_mut().is_some_and(serves) {
            // The old devices are let go before the new ones are opened: both may be on one port.
            self.tryout = None;
            self.tryout = Some(Tryout::open(table, camera, options)?);
        }
        let tryout = self.tryout.as_mut().ok_or(t!("desk-the-devices-are-not-open"))?;
        let prompt = |text| self.mailbox.desk(DeskNews::Prompt(text));
        if let Some(picture) = tryout.carry_out(trial, cancel, &prompt)? {
            self.mailbox.live(picture);
        }
        tryout.view()
    }

    /// Ends the session, if one runs, and takes its devices over; gives its folder.
    pub(super) fn take_devices_over(&mut self) -> Option<SessionFolder> {
        let ended = self.session.take()?.end();
        if let (Some(devices), Some(facts)) = (ended.devices, self.studio.take()) {
            self.tryout = Some(facts.tryout(devices));
        }
        ended.folder
    }

    /// How the devices stand that are open outside a session. One that is lost is let go, so that it can be opened
    /// anew.
    pub(super) fn tried(&mut self) -> DeskNews {
        match self.tryout.as_mut().map(Tryout::view) {
            Some(Ok(view)) => DeskNews::Tried(Some(Box::new(view))),
            Some(Err(reason)) => {
                self.tryout = None;
                self.mailbox.desk(DeskNews::Trouble(reason));
                DeskNews::Tried(None)
            }
            None => DeskNews::Tried(None),
        }
    }

    /// Shoots the empty table with the devices that are open; those of a session are taken over as they are, for a
    /// board may forget where it stands when its port is opened again.
    pub(super) fn shoot_plate(
        &mut self,
        set: &Path,
        row: &str,
        (table, camera): (&TableSpec, &CameraSpec),
        options: &StudioOptions,
        cancel: &CancelToken,
    ) -> Result<String, String> {
        if self.session.is_some() {
            let folder = self.take_devices_over();
            self.tell_closed(folder);
        }
        self.try_out(table, camera, options, Trial::Connect, cancel)?;
        // Held until it is done, so that no session shoots into the set meanwhile.
        let folder = SessionFolder::open(set).map_err(|error| error.to_string())?;
        self.tell_recovery(&folder);
        let tryout = self.tryout.as_mut().ok_or(t!("desk-the-devices-are-not-open"))?;
        let prompt = |text| self.mailbox.desk(DeskNews::Prompt(text));
        single_shot::shoot_plate(tryout.studio(), &folder, row, cancel, &prompt)
    }

    pub(super) fn probe(&mut self, port: &str, baud: u32) {
        if self.tryout.take().is_some() {
            self.mailbox.desk(DeskNews::Tried(None));
        }
        self.mailbox.desk(match serial::probe(port, baud) {
            Ok(found) => {
                let dialect = match &found {
                    serial::Probed::Other(other) => other.dialect.map(str::to_owned),
                    _ => None,
                };
                DeskNews::Probed(crate::cli::probe::words(port, &found), dialect)
            }
            Err(error) => DeskNews::Probed(vec![error.to_string()], None),
        });
    }
}
