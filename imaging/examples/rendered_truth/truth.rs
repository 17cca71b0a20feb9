//! Reads the truth beside a rendered set.

use std::path::Path;

use serde_json::Value;

/// How much an object shows to follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Detail {
    /// Detail all round.
    Everywhere,
    /// A label on one side, or tones that hardly differ.
    Partly,
    /// One pattern many times round.
    Repeats,
    /// One colour, or rings of colour.
    None,
}

impl Detail {
    /// Words to set behind a fault.
    pub fn suffix(self) -> &'static str {
        match self {
            Self::Everywhere => "",
            Self::Partly => ", detail in part",
            Self::Repeats => ", pattern repeats",
            Self::None => ", plain",
        }
    }
}

/// One frame as rendered.
pub struct TruthFrame {
    /// Position in the plan, from 0.
    pub planned: u64,
    pub file: String,
    pub degrees: f64,
    pub true_degrees: f64,
    pub closing: bool,
}

/// A rendered set's truth.
pub struct Truth {
    pub object: String,
    pub pattern: String,
    pub clockwise: bool,
    pub arc_deg: f64,
    pub distance: f64,
    pub tilt_deg: f64,
    pub closure_deg: f64,
    pub axis_column_px: f64,
    pub axis_lean_deg: f64,
    pub off_centre: Option<(f64, f64)>,
    pub object_width: f64,
    pub frames: Vec<TruthFrame>,
    pub faults: Vec<Value>,
}

impl Truth {
    /// Reads `truth.json` in a set's folder.
    pub fn read(set: &Path) -> Result<Self, Box<dyn std::error::Error>> {
        let v: Value = serde_json::from_str(&std::fs::read_to_string(set.join("truth.json"))?)?;
        let s = &v["setup"];
        let number = |v: &Value| v.as_f64().unwrap_or(f64::NAN);
        let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
        let frames = v["frames"]
            .as_array()
            .into_iter()
            .flatten()
            .map(|f| TruthFrame {
                planned: f["index"].as_u64().unwrap_or(1) - 1,
                file: text(&f["file"]),
                degrees: number(&f["degrees"]),
                true_degrees: number(&f["true_degrees"]),
                closing: f["closing"].as_bool().unwrap_or(false),
            })
            .collect();
        Ok(Self {
            object: text(&s["object"]),
            pattern: text(&s["pattern"]),
            clockwise: s["clockwise"].as_bool().unwrap_or(false),
            arc_deg: number(&s["arc_deg"]),
            distance: number(&s["distance"]),
            tilt_deg: number(&s["tilt_deg"]),
            closure_deg: number(&s["closure_deg"]),
            axis_column_px: number(&v["axis_column_px"]),
            axis_lean_deg: number(&v["axis_lean_deg"]),
            off_centre: v["off_centre"].as_array().map(|a| (number(&a[0]), number(&a[1]))),
            object_width: number(&v["object_width"]),
            frames,
            faults: s["faults"].as_array().cloned().unwrap_or_default(),
        })
    }

    /// Off-centre distance in per cent of the object's width.
    pub fn off_centre_percent(&self) -> Option<f64> {
        let (x, y) = self.off_centre?;
        Some(100.0 * x.hypot(y) / self.object_width)
    }

    /// What there is to follow from stop to stop.
    pub fn detail(&self) -> Detail {
        match self.pattern.as_str() {
            "plain" | "bands" => Detail::None,
            "repeat" => Detail::Repeats,
            "label" | "faint" => Detail::Partly,
            _ => Detail::Everywhere,
        }
    }

    /// Whether the bare shape says nothing, or too little to be trusted, about its angle.
    pub fn is_round_or_mug(&self) -> bool {
        matches!(self.object.as_str(), "vase" | "bottle" | "bowl" | "sphere" | "candlestick" | "mug")
    }
}
