//! `roundstop finish`: kept frames become finished pictures.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU8, Ordering};

use clap::{Args, ValueEnum};
use imaging::finish::{Background, CropSettings, FinishSettings, Shadow, Step, WhiteBalance};
use indicatif::{ProgressBar, ProgressStyle};
use session_core::cancel::CancelToken;

use super::units::{percent, ratio};
use super::{EXIT_DONE, EXIT_FAULT, EXIT_MISSING, fault};
use crate::listing::{self, FinishingFile, KeptSet, Meter, Progress};

#[derive(Debug, Args)]
pub struct FinishArgs {
    /// The set's folder
    dir: PathBuf,
    /// One frame of the empty table, in the set's folder or seen from here; {row} stands for the row's name
    #[arg(long, value_name = "FILE", conflicts_with = "no_plate")]
    plate: Option<String>,
    /// Use no frame of the empty table any more
    #[arg(long)]
    no_plate: bool,
    /// What becomes of the background: white (the usual), or as-shot
    #[arg(long, value_name = "B", value_parser = background)]
    background: Option<Background>,
    /// What becomes of the shadow on white: keep (the usual), or remove
    #[arg(long, value_name = "S", value_parser = shadow)]
    shadow: Option<Shadow>,
    /// Room round the object in per cent of the picture; 8 is the usual
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    margin: Option<f64>,
    /// Width over height of the crop, such as 1 (the usual), 3:2 or 1.5
    #[arg(long, value_name = "R", value_parser = ratio)]
    ratio: Option<f64>,
    /// Sharpening in per cent; 30 is the usual, 0 is none
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    sharpen: Option<f64>,
    /// Longest side of the pictures in pixels, or own for the camera's own scale (the usual)
    #[arg(long, value_name = "PIXELS", value_parser = size)]
    size: Option<Size>,
    /// Steps to leave out, such as crop,sharpen
    #[arg(long, value_name = "STEPS", value_delimiter = ',', conflicts_with = "all_steps")]
    skip: Vec<Skip>,
    /// Do every step again that was left out before
    #[arg(long)]
    all_steps: bool,
    /// Who took the pictures; goes into them
    #[arg(long, value_name = "NAME")]
    creator: Option<String>,
    /// Whose they are; goes into them
    #[arg(long, value_name = "TEXT")]
    copyright: Option<String>,
    #[command(flatten)]
    run: BatchArgs,
}

/// What finishing and exporting share.
#[derive(Debug, Args)]
pub struct BatchArgs {
    /// Most pictures worked on at once; as many as cores and memory allow
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
    /// Print one JSON object at the end
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Skip {
    Even,
    WhiteBalance,
    Straighten,
    Crop,
    Background,
    Sharpen,
}

/// How large finished pictures are.
#[derive(Debug, Clone, Copy)]
enum Size {
    Own,
    Within(u32),
}

fn size(text: &str) -> Result<Size, String> {
    match text {
        "own" => Ok(Size::Own),
        _ => text.parse().map(Size::Within).map_err(|_| "write pixels, such as 2000, or own".to_owned()),
    }
}

fn background(text: &str) -> Result<Background, String> {
    serde_json::from_value(text.into()).map_err(|_| "write white or as-shot".to_owned())
}

fn shadow(text: &str) -> Result<Shadow, String> {
    serde_json::from_value(text.into()).map_err(|_| "write keep or remove".to_owned())
}

impl FinishArgs {
    /// Takes what was asked for over into the set's settings.
    fn change(&self, set: &KeptSet, file: &mut FinishingFile) -> anyhow::Result<()> {
        let settings = &mut file.settings;
        if self.all_steps {
            let usual = FinishSettings::default();
            settings.even = usual.even;
            settings.white_balance = usual.white_balance;
            settings.straighten = usual.straighten;
            settings.crop = settings.crop.or(usual.crop);
            settings.background = usual.background;
            if settings.sharpen_percent == 0.0 {
                settings.sharpen_percent = usual.sharpen_percent;
            }
        }
        for skip in &self.skip {
            match skip {
                Skip::Even => settings.even = false,
                Skip::WhiteBalance => settings.white_balance = WhiteBalance::AsShot,
                Skip::Straighten => settings.straighten = false,
                Skip::Crop => settings.crop = None,
                Skip::Background => settings.background = Background::AsShot,
                Skip::Sharpen => settings.sharpen_percent = 0.0,
            }
        }
        settings.background = self.background.unwrap_or(settings.background);
        settings.shadow = self.shadow.unwrap_or(settings.shadow);
        settings.sharpen_percent = self.sharpen.map_or(settings.sharpen_percent, |percent| percent as f32);
        file.margin_is_chosen |= self.margin.is_some();
        if self.margin.is_some() || self.ratio.is_some() {
            let now = settings.crop.unwrap_or_default();
            settings.crop = Some(CropSettings {
                margin_percent: self.margin.unwrap_or(now.margin_percent),
                ratio: self.ratio.unwrap_or(now.ratio),
            });
        }
        match self.size {
            Some(Size::Own) => file.size_px = None,
            Some(Size::Within(px)) => file.size_px = Some(px),
            None => {}
        }
        if self.no_plate {
            file.use_plate(None);
        }
        if let Some(plate) = &self.plate {
            file.use_plate(Some(set.plate_as_kept(plate)?));
        }
        file.creator = self.creator.clone().unwrap_or_else(|| file.creator.clone());
        file.copyright = self.copyright.clone().unwrap_or_else(|| file.copyright.clone());
        Ok(())
    }
}

/// Runs `roundstop finish DIR`: 0 when every stop has a finished picture, 3 when stops are missing.
pub fn run(args: &FinishArgs) -> u8 {
    match finish(args) {
        Ok(code) => code,
        Err(error) => fault(&error),
    }
}

fn finish(args: &FinishArgs) -> anyhow::Result<u8> {
    let dir: &Path = &args.dir;
    // Refuses a folder without a session, and a plate that is not there, before anything is written.
    let set = KeptSet::read(dir)?;
    let before = listing::read_finishing(dir)?;
    let mut file = before.clone();
    args.change(&set, &mut file)?;
    if file != before {
        listing::write_finishing(dir, &file)?;
    }
    if !args.run.json {
        eprintln!("{}", steps(&file.settings));
    }
    let report = args.run.with_meter(|meter, _| listing::finish(dir, meter))?;
    if args.run.json {
        println!("{}", serde_json::to_string_pretty(&report)?);
    } else {
        for note in &report.notes {
            println!("note: {note}");
        }
        println!(
            "{}: {} finished in {} ({} made, {} unchanged).",
            report.sku,
            pictures(report.made + report.kept),
            report.folder,
            report.made,
            report.kept
        );
        if !report.missing.is_empty() {
            let stops: Vec<String> = report.missing.iter().map(u32::to_string).collect();
            println!("Stops without a frame: {}.", stops.join(", "));
        }
    }
    Ok(if report.missing.is_empty() { EXIT_DONE } else { EXIT_MISSING })
}

/// How many pictures, in words.
pub fn pictures(count: usize) -> String {
    if count == 1 { "1 picture".to_owned() } else { format!("{count} pictures") }
}

/// The steps in their order, with those left out marked.
fn steps(settings: &FinishSettings) -> String {
    let words: Vec<String> = Step::ORDER
        .iter()
        .map(|step| {
            let done = match step {
                Step::Colour | Step::Resize => true,
                Step::Even => settings.even || settings.white_balance == WhiteBalance::Background,
                Step::Straighten => settings.straighten,
                Step::Crop => settings.crop.is_some(),
                Step::Background => settings.background == Background::White,
                Step::Sharpen => settings.sharpen_percent > 0.0,
            };
            if done { step.name().to_owned() } else { format!("({} left out)", step.name()) }
        })
        .collect();
    format!("Steps: {}", words.join(", "))
}

impl BatchArgs {
    /// Works with a progress bar; Ctrl-C stops the work, a second one ends the program. The work gets a function to
    /// print with while the bar is shown.
    pub fn with_meter<T>(
        &self,
        work: impl FnOnce(&Meter<'_>, &dyn Fn(&dyn Fn())) -> anyhow::Result<T>,
    ) -> anyhow::Result<T> {
        let cancel = CancelToken::default();
        let asked = AtomicU8::new(0);
        let token = cancel.clone();
        // Fails only when a handler is set already, as in tests; then signals end the program as usual.
        let _ = ctrlc::set_handler(move || {
            if asked.fetch_add(1, Ordering::SeqCst) >= 1 {
                std::process::exit(i32::from(EXIT_FAULT));
            }
            eprintln!("Stopping after the pictures at hand; press again to stop at once.");
            token.cancel();
        });
        let bar = if self.json { ProgressBar::hidden() } else { ProgressBar::new(0) };
        if let Ok(style) = ProgressStyle::with_template("{msg} {pos}/{len} [{bar:30}] {eta} left") {
            bar.set_style(style.progress_chars("=> "));
        }
        let tell = |progress: Progress| {
            if progress.done == 0 {
                bar.reset();
                bar.set_length(progress.of as u64);
                bar.set_message(progress.stage.name());
            }
            // Workers tell out of turn; the bar never goes back.
            bar.set_position(bar.position().max(progress.done as u64));
        };
        let most_at_once = self.jobs.map(usize::from);
        let aside = |print: &dyn Fn()| bar.suspend(print);
        let result = work(&Meter { cancel: &cancel, tell: &tell, most_at_once }, &aside);
        bar.finish_and_clear();
        result
    }
}
