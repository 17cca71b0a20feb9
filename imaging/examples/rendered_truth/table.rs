//! A table of limits.

/// One limit and what was seen.
pub struct Row {
    what: String,
    limit: String,
    seen: String,
    met: bool,
}

impl Row {
    pub fn new(what: &str, limit: &str, seen: String, met: bool) -> Self {
        Self { what: what.to_owned(), limit: limit.to_owned(), seen, met }
    }
}

/// All limits.
#[derive(Default)]
pub struct Table(Vec<Row>);

impl Table {
    pub fn push(&mut self, row: Row) {
        self.0.push(row);
    }

    /// Prints and returns how many limits are not met.
    pub fn print(&self) -> usize {
        for r in &self.0 {
            let met = if r.met { "met" } else { "NOT MET" };
            println!("{:7} | {:32} | {:44} | {}", met, r.what, r.limit, r.seen);
        }
        self.0.iter().filter(|r| !r.met).count()
    }
}
