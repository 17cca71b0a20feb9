//! The shoot list as the window shows it: products, how far each is, where each has its folder.

use std::path::{Path, PathBuf};

use crate::window::text::t;
use session_core::journal::SessionFolder;
use session_core::plan::Plan;
use session_core::shoot_list::{ListError, Product, ShootList, sets_beside};

/// One product of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProductRow {
    /// Its SKU.
    pub sku: String,
    /// Its name.
    pub name: String,
    /// The photographer's notes.
    pub notes: String,
    /// Whether it is marked as done.
    pub done: bool,
    /// Stops with a frame in use.
    pub kept: usize,
    /// Stops of its set; `None` until it is begun.
    pub stops: Option<usize>,
    /// Stops of its plan; `None` when the plan cannot be used.
    pub planned: Option<usize>,
}

impl ProductRow {
    /// How far it is, in words.
    pub fn words(&self) -> String {
        match (self.done, self.stops) {
            (true, _) => t!("products-done"),
            (false, None) => {
                let stops = self.planned.map(|stops| t!("count-stops", n = stops));
                stops.map_or_else(|| t!("products-no-plan"), |stops| t!("products-not-begun", stops = stops))
            }
            (false, Some(stops)) => t!("products-of", kept = self.kept, stops = stops),
        }
    }
}

/// The list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProductList {
    /// Its file.
    pub path: PathBuf,
    /// The products in the file's order.
    pub rows: Vec<ProductRow>,
}

impl ProductList {
    /// Sees how far each product of a list is.
    pub fn of(list: &ShootList) -> Self {
        let rows = list.products.iter().map(|product| row(&list.path, product)).collect();
        Self { path: list.path.clone(), rows }
    }

    /// The first product that is not done.
    pub fn first_open(&self) -> Option<&str> {
        self.next_open("")
    }

    /// Whether this is the folder of a product that is not done.
    pub fn is_open_in(&self, folder: &Path) -> bool {
        let sets = sets_beside(&self.path);
        self.rows.iter().any(|row| !row.done && sets.join(&row.sku) == folder)
    }

    /// The first product that is not done after this one, round the end.
    pub fn next_open(&self, after: &str) -> Option<&str> {
        let begin = self.rows.iter().position(|row| row.sku == after).map_or(0, |at| at + 1);
        let (before, behind) = self.rows.split_at(begin);
        behind.iter().chain(before).find(|row| !row.done && row.sku != after).map(|row| row.sku.as_str())
    }
}

/// A list that was read, to be looked at before it is used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListOffer {
    /// Its file.
    pub path: PathBuf,
    /// What it holds, or why it cannot be used.
    pub found: Result<ProductList, ListRefusal>,
}

/// Why a list cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ListRefusal {
    /// What is wrong, line by line.
    Lines(Vec<String>),
    /// The file as a whole cannot be used.
    Whole(String),
}

/// Where a product's set lies: in the folder `sets` beside the list, named by its SKU.
pub fn folder_of(list: &Path, sku: &str) -> PathBuf {
    sets_beside(list).join(sku)
}

fn row(list: &Path, product: &Product) -> ProductRow {
    let status = SessionFolder::read_status(&folder_of(list, &product.sku)).ok();
    ProductRow {
        sku: product.sku.clone(),
        name: product.name.clone(),
        notes: product.notes.clone(),
        done: product.done,
        kept: status.as_ref().map_or(0, session_core::journal::SetStatus::kept),
        stops: status.map(|status| status.stops.len()),
        planned: planned_stops(product),
    }
}

fn planned_stops(product: &Product) -> Option<usize> {
    // The day plays no part in how many there are.
    Some(product.load_plan().ok()?.stops("2026-01-31").ok()?.len())
}

/// Why a list cannot be used.
pub fn refusal_of(error: &ListError) -> ListRefusal {
    match error {
        ListError::WrongLines { problems, .. } => {
            ListRefusal::Lines(problems.iter().map(ToString::to_string).collect())
        }
        other => ListRefusal::Whole(other.to_string()),
    }
}

/// The plan of a product of a list, and its folder.
///
/// # Errors
/// A sentence when the plan cannot be used.
pub fn plan_of(list: &ShootList, sku: &str) -> Result<(Plan, PathBuf), String> {
    let product = list.products.iter().find(|product| product.sku == sku);
    let product = product.ok_or_else(|| t!("products-the-list-has-no-product", sku = sku))?;
    Ok((product.load_plan()?, folder_of(&list.path, sku)))
}
