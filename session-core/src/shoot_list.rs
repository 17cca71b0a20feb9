//! A shoot list: many products from one CSV file (RFC 4180), each with its plan and its own folder.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::file_name::{check_field, check_stems};
use crate::journal::durable::{PathError, replace_state};
use crate::plan::{MAX_STOPS_PER_ROW, Plan};

/// Products a list may hold.
pub const MAX_PRODUCTS: usize = 10_000;
/// Bytes a list file may hold.
const MAX_BYTES: u64 = 16 * 1024 * 1024;

const COLUMNS: [&str; 5] = ["sku", "name", "plan", "notes", "done"];

/// Says what is wrong with one line of a list.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("line {line}: {message}")]
pub struct LineProblem {
    /// The line in the file, from 1.
    pub line: u64,
    /// What is wrong and what to write instead.
    pub message: String,
}

/// Says why a list cannot be read or written.
#[derive(Debug, Error)]
pub enum ListError {
    /// The file cannot be read.
    #[error("the shoot list {path} cannot be read: {reason}; choose another file")]
    Unreadable {
        /// The file.
        path: String,
        /// What the system said.
        reason: String,
    },
    /// Lines that make no sense; the rest is not used either, so that no product is passed over unseen.
    #[error("the shoot list {path} has {} wrong lines; mend them and open it again:\n{}", problems.len(), said(problems))]
    WrongLines {
        /// The file.
        path: String,
        /// What is wrong, line by line.
        problems: Vec<LineProblem>,
    },
    /// The mark that a product is done cannot be written.
    #[error(transparent)]
    Unwritable(#[from] PathError),
}

fn said(problems: &[LineProblem]) -> String {
    problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

/// Where a product's plan comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PlanSource {
    /// A plan file; the product's SKU and name take the place of the file's own.
    File(PathBuf),
    /// One full turn with this many stops.
    Stops(u32),
}

/// One product of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Product {
    /// Its line in the file, from 1.
    pub line: u64,
    /// Its SKU; names its folder.
    pub sku: String,
    /// Its name for people.
    pub name: String,
    /// Its plan.
    pub plan: PlanSource,
    /// The photographer's notes.
    pub notes: String,
    /// Whether it is marked as done.
    pub done: bool,
}

impl Product {
    /// The product's plan, with its SKU and name in it.
    ///
    /// # Errors
    /// A sentence when the plan file cannot be used.
    pub fn load_plan(&self) -> Result<Plan, String> {
        let plan = match &self.plan {
            PlanSource::Stops(stops) => Plan::single_row(&self.sku, *stops),
            PlanSource::File(path) => {
                let text = std::fs::read_to_string(path).map_err(|error| {
                    format!("the plan {} of {} cannot be read: {error}", path.display(), self.sku)
                })?;
                Plan::from_json(&text).map_err(|error| format!("the plan {}: {error}", path.display()))?
            }
        };
        Ok(Plan { sku: self.sku.clone(), title: self.name.clone(), ..plan })
    }
}

/// A shoot list as read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShootList {
    /// The file.
    pub path: PathBuf,
    /// The products in the file's order.
    pub products: Vec<Product>,
    /// The file's records as they are, heading first, so that marking one as done keeps all else.
    records: Vec<Vec<String>>,
    done_column: Option<usize>,
}

/// Where the sets of a list's products lie unless they are put elsewhere: in the folder `sets` beside it.
pub fn sets_beside(list: &Path) -> PathBuf {
    list.parent().unwrap_or(Path::new("")).join("sets")
}

impl ShootList {
    /// Reads a list: a heading with at least `sku`, then one product a line. Columns `name`, `plan` (a
    /// plan file beside the list, or a number of stops; 24 where there is none), `notes` and `done`
    /// (`yes` or nothing) may be there in any order; other columns are kept and left alone. Commas or
    /// semicolons, as spreadsheets write them.
    ///
    /// # Errors
    /// [`ListError`]; every wrong line is named.
    pub fn read(path: &Path) -> Result<Self, ListError> {
        let unreadable = |reason: String| ListError::Unreadable { path: path.display().to_string(), reason };
        let length = std::fs::metadata(path).map_err(|error| unreadable(error.to_string()))?.len();
        if length > MAX_BYTES {
            return Err(unreadable(format!("it holds {} MB, a list has at most 16", length / 1_000_000)));
        }
        let bytes = std::fs::read(path).map_err(|error| unreadable(error.to_string()))?;
        let text = String::from_utf8(bytes).map_err(|_| {
            unreadable("it is not UTF-8 text; save it as 'CSV UTF-8' in the spreadsheet".to_owned())
        })?;
        Self::parse(path, &text)
    }

    fn parse(path: &Path, text: &str) -> Result<Self, ListError> {
        let text = text.trim_start_matches('\u{feff}');
        let heading = text.lines().next().unwrap_or_default();
        let delimiter = if heading.matches(';').count() > heading.matches(',').count() { b';' } else { b',' };
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(delimiter)
            .from_reader(text.as_bytes());
        let mut problems = Vec::new();
        let mut records: Vec<(u64, Vec<String>)> = Vec::new();
        let mut lines = Lines { text, at: 0, line: 1 };
        for record in reader.records() {
            match record {
                Ok(record) => {
                    let line = record.position().map_or(0, |position| lines.of(position.byte() as usize));
                    records.push((line, record.iter().map(|cell| cell.trim().to_owned()).collect()));
                }
                Err(error) => {
                    let line = error.position().map_or(0, csv::Position::line);
                    problems.push(LineProblem { line, message: format!("it cannot be read: {error}") });
                }
            }
        }
        let columns = records.first().map(|(_, heading)| Columns::of(heading)).unwrap_or_default();
        let mut products = Vec::new();
        if columns.at.contains_key("sku") {
            let beside = path.parent().unwrap_or(Path::new(""));
            for (line, cells) in
                records.iter().skip(1).filter(|(_, cells)| cells.iter().any(|cell| !cell.is_empty()))
            {
                match product(*line, cells, &columns, beside) {
                    Ok(product) => products.push(product),
                    Err(message) => problems.push(LineProblem { line: *line, message }),
                }
            }
            problems.extend(repeated(&products));
            if products.is_empty() && problems.is_empty() {
                problems.push(LineProblem { line: 2, message: "no product follows the heading".to_owned() });
            }
            if products.len() > MAX_PRODUCTS {
                let message = format!("more than {MAX_PRODUCTS} products; split the list");
                problems.push(LineProblem { line: products[MAX_PRODUCTS].line, message });
            }
        } else {
            let message = format!("the first line must name the columns: {}", COLUMNS.join(", "));
            problems.push(LineProblem { line: 1, message });
        }
        if !problems.is_empty() {
            problems.sort_by_key(|problem| problem.line);
            return Err(ListError::WrongLines { path: path.display().to_string(), problems });
        }
        Ok(Self {
            path: path.to_owned(),
            products,
            done_column: columns.at.get("done").copied(),
            records: records.into_iter().map(|(_, cells)| cells).collect(),
        })
    }

    /// The first product after `after` (by SKU; the first of all for `None`) that is not done, round the end.
    pub fn next_open(&self, after: Option<&str>) -> Option<&Product> {
        let begin = after
            .and_then(|sku| self.products.iter().position(|product| product.sku == sku))
            .map_or(0, |at| at + 1);
        let (before, behind) = self.products.split_at(begin.min(self.products.len()));
        behind.iter().chain(before).find(|product| !product.done && Some(product.sku.as_str()) != after)
    }

    /// Marks a product as done, here and in the file; every other cell stays as it was.
    ///
    /// # Errors
    /// [`ListError::Unwritable`] when the file cannot be replaced; the mark stays here.
    pub fn mark_done(&mut self, sku: &str) -> Result<(), ListError> {
        let column = *self.done_column.get_or_insert_with(|| {
            let column = self.records.iter().map(Vec::len).max().unwrap_or(0);
            self.records[0].resize(column, String::new());
            self.records[0].push("done".to_owned());
            column
        });
        let sku_column = Columns::of(&self.records[0]).at.get("sku").copied().unwrap_or(0);
        for record in self
            .records
            .iter_mut()
            .skip(1)
            .filter(|record| record.get(sku_column).is_some_and(|cell| cell == sku))
        {
            if record.len() <= column {
                record.resize(column + 1, String::new());
            }
            "yes".clone_into(&mut record[column]);
        }
        for product in self.products.iter_mut().filter(|product| product.sku == sku) {
            product.done = true;
        }
        let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
        let written = self.records.iter().try_for_each(|record| writer.write_record(record));
        let bytes = written.ok().and_then(|()| writer.into_inner().ok()).unwrap_or_default();
        replace_state(&self.path, &bytes)?;
        Ok(())
    }
}

/// Finds the line of a place in a text; places must not go back.
struct Lines<'a> {
    text: &'a str,
    at: usize,
    line: u64,
}

impl Lines<'_> {
    /// The line of the record that begins here, after line ends and empty lines that still belong to the one before.
    fn of(&mut self, byte: usize) -> u64 {
        let rest = self.text.as_bytes().get(byte..).unwrap_or_default();
        let ends = rest.iter().take_while(|byte| matches!(**byte, b'\r' | b'\n')).count();
        let to = (byte + ends).clamp(self.at, self.text.len());
        self.line += self.text.get(self.at..to).unwrap_or_default().matches('\n').count() as u64;
        self.at = to;
        self.line
    }
}

/// Where each known column lies.
#[derive(Debug, Default)]
struct Columns {
    at: HashMap<&'static str, usize>,
}

impl Columns {
    fn of(heading: &[String]) -> Self {
        let known = COLUMNS.iter().filter_map(|name| {
            let at = heading.iter().position(|cell| cell.eq_ignore_ascii_case(name))?;
            Some((*name, at))
        });
        Self { at: known.collect() }
    }

    fn cell<'a>(&self, cells: &'a [String], name: &str) -> &'a str {
        self.at.get(name).and_then(|at| cells.get(*at)).map_or("", String::as_str)
    }
}

fn product(line: u64, cells: &[String], columns: &Columns, beside: &Path) -> Result<Product, String> {
    let sku = columns.cell(cells, "sku");
    if sku.is_empty() {
        return Err("the SKU is missing".to_owned());
    }
    check_field("SKU", sku)?;
    check_stems(std::iter::once(sku))?;
    let plan = match columns.cell(cells, "plan") {
        "" => PlanSource::Stops(24),
        text => match text.parse::<u32>() {
            Ok(stops) if (1..=MAX_STOPS_PER_ROW).contains(&stops) => PlanSource::Stops(stops),
            Ok(stops) => {
                return Err(format!(
                    "a plan of {stops} stops is not possible; write 1 to {MAX_STOPS_PER_ROW}"
                ));
            }
            Err(_) => {
                let path = beside.join(text);
                if !path.is_file() {
                    return Err(format!(
                        "there is no plan file {}; write its path as seen from the list, or a number of stops",
                        path.display()
                    ));
                }
                PlanSource::File(path)
            }
        },
    };
    let done = match columns.cell(cells, "done").to_lowercase().as_str() {
        "" | "no" | "0" | "false" => false,
        "yes" | "1" | "true" | "x" | "done" => true,
        other => return Err(format!("'{other}' under done; write yes or leave it empty")),
    };
    Ok(Product {
        line,
        sku: sku.to_owned(),
        name: columns.cell(cells, "name").to_owned(),
        plan,
        notes: columns.cell(cells, "notes").to_owned(),
        done,
    })
}

/// SKUs that come twice; two products in one folder would mix their frames. Letter case does not tell
/// folders apart on every system.
fn repeated(products: &[Product]) -> Vec<LineProblem> {
    let mut seen: HashMap<String, u64> = HashMap::new();
    let twice = products.iter().filter_map(|product| {
        let first = *seen.entry(product.sku.to_lowercase()).or_insert(product.line);
        (first != product.line).then(|| LineProblem {
            line: product.line,
            message: format!(
                "the SKU {} is already on line {first}; each product needs its own",
                product.sku
            ),
        })
    });
    twice.collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::disallowed_methods, clippy::float_cmp)]
    use super::*;

    fn parse(text: &str) -> Result<ShootList, Vec<String>> {
        match ShootList::parse(Path::new("list.csv"), text) {
            Ok(list) => Ok(list),
            Err(ListError::WrongLines { problems, .. }) => {
                Err(problems.iter().map(ToString::to_string).collect())
            }
            Err(other) => panic!("{other}"),
        }
    }

    #[test]
    fn spreadsheets_are_read_as_they_come() {
        // Demo data. Quoting after RFC 4180, section 2: quotes inside a quoted field are doubled, and it may hold
        // commas and line breaks.
        let text = "\u{feff}Name,SKU,Shelf,plan,Notes,Done\r\n\"Mug, \"\"Hedgerow\"\"\",LH-1,B2,36,\"tall\nglaze\",\r\n\r\nBowl,LH-2,B3,,,yes\r\n";
        let list = parse(text).unwrap();
        assert_eq!(list.products.len(), 2);
        let mug = &list.products[0];
        assert_eq!(
            (mug.sku.as_str(), mug.name.as_str(), mug.notes.as_str()),
            ("LH-1", "Mug, \"Hedgerow\"", "tall\nglaze")
        );
        assert_eq!((mug.line, &mug.plan, mug.done), (2, &PlanSource::Stops(36), false));
        assert_eq!((list.products[1].plan.clone(), list.products[1].done), (PlanSource::Stops(24), true));
        assert_eq!(parse("sku;name\nLH-1;Mug\n").unwrap().products[0].name, "Mug");
    }

    #[test]
    fn every_wrong_line_is_named() {
        let text = "sku,plan,done\nLH-1,0,\n,24,\nLH-2,none.json,\nLH/3,24,\nlh-4,24,maybe\nLH-5,,\nlh-5,,\n";
        let problems = parse(text).unwrap_err();
        let lines: Vec<&str> = problems.iter().map(|problem| problem.split(':').next().unwrap()).collect();
        assert_eq!(lines, ["line 2", "line 3", "line 4", "line 5", "line 6", "line 8"]);
        assert!(problems[5].contains("already on line 7"), "{problems:?}");
        assert!(parse("name,plan\nMug,24\n").unwrap_err()[0].contains("must name the columns"));
        assert!(parse("").unwrap_err()[0].starts_with("line 1"));
        assert!(parse("sku\n").unwrap_err()[0].contains("no product"));
    }

    #[test]
    fn the_next_open_product_is_found_round_the_end() {
        let list = parse("sku,done\nA,yes\nB,\nC,\n").unwrap();
        let next = |after| list.next_open(after).map(|product| product.sku.as_str());
        assert_eq!(
            (next(None), next(Some("B")), next(Some("C")), next(Some("gone"))),
            (Some("B"), Some("C"), Some("B"), Some("B"))
        );
        assert_eq!(parse("sku,done\nA,yes\nB,\n").unwrap().next_open(Some("B")), None);
    }

    #[test]
    fn marking_as_done_keeps_all_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("list.csv");
        std::fs::write(&path, "sku,shelf,name\nLH-1,B2,\"Mug, tall\"\nLH-2,B3,Bowl\n").unwrap();
        let mut list = ShootList::read(&path).unwrap();
        list.mark_done("LH-2").unwrap();
        assert_eq!(
            std::fs::read_to_string(&path).unwrap(),
            "sku,shelf,name,done\nLH-1,B2,\"Mug, tall\"\nLH-2,B3,Bowl,yes\n"
        );
        let again = ShootList::read(&path).unwrap();
        assert_eq!(again.products, list.products);
        assert_eq!(again.next_open(None).unwrap().sku, "LH-1");
    }

    #[test]
    fn what_is_no_list_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(
            ShootList::read(&folder.path().join("none.csv")),
            Err(ListError::Unreadable { .. })
        ));
        let path = folder.path().join("latin.csv");
        std::fs::write(&path, b"sku\nL\xfc\n").unwrap();
        assert!(ShootList::read(&path).unwrap_err().to_string().contains("UTF-8"));
    }
}
