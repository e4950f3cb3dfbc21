//! Tables that fit the page: numbers aligned on the right and never
//! shortened, text columns wrapped, units in the headings.

use std::fmt::Write as _;

use super::text;

/// Lines that a wrapped cell may take before it is cut.
const CELL_LINES_MAX: usize = 3;
/// Columns that a text column keeps however little room there is.
const TEXT_COLUMNS_MIN: usize = 8;
/// Spaces between columns, and the least where a page is tight.
const GAPS: [usize; 2] = [2, 1];

/// One column: its heading, in lines, and how its cells are set.
#[derive(Debug, Clone)]
pub struct Column {
    heading: Vec<String>,
    setting: Setting,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Setting {
    Number,
    Text { lines_max: usize },
}

impl Column {
    /// A column of figures; the heading may have several lines, the last of
    /// them the unit.
    pub fn number(heading: impl Into<String>) -> Self {
        Self::set(heading, Setting::Number)
    }

    /// A column of text, wrapped where the page is tight, and cut after a few lines.
    pub fn text(heading: impl Into<String>) -> Self {
        let lines_max = CELL_LINES_MAX;
        Self::set(heading, Setting::Text { lines_max })
    }

    /// A column of text that is wrapped but never cut.
    pub fn whole_text(heading: impl Into<String>) -> Self {
        let lines_max = usize::MAX;
        Self::set(heading, Setting::Text { lines_max })
    }

    fn set(heading: impl Into<String>, setting: Setting) -> Self {
        Self {
            heading: heading.into().lines().map(str::to_owned).collect(),
            setting,
        }
    }
}

#[derive(Debug, Clone)]
enum Row {
    Cells(Vec<String>),
    /// Across the whole page, below the row it belongs to.
    Note(String),
    /// Dashes above a total.
    Rule,
}

/// A table under construction. Cells are cleaned as they come in.
#[derive(Debug, Clone)]
pub struct Table {
    columns: Vec<Column>,
    rows: Vec<Row>,
}

impl Table {
    /// An empty table.
    pub fn new<const N: usize>(columns: [Column; N]) -> Self {
        Self::of(columns.into())
    }

    /// An empty table, of columns that depend on what there is to show.
    pub fn of(columns: Vec<Column>) -> Self {
        Self {
            columns,
            rows: Vec::new(),
        }
    }

    /// Adds a row. Missing cells are empty, surplus ones are dropped.
    pub fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.row_of(cells.into());
    }

    /// The same for columns that depend on what there is to show.
    pub fn row_of(&mut self, cells: Vec<String>) {
        let mut cells: Vec<String> = cells
            .into_iter()
            .map(|cell| clean_indented(&cell))
            .collect();
        cells.resize(self.columns.len(), String::new());
        self.rows.push(Row::Cells(cells));
    }

    /// Adds a line of text across the page, set in below the row before.
    pub fn note(&mut self, note: &str) {
        self.rows.push(Row::Note(clean_indented(note)));
    }

    /// Adds a row below a rule.
    pub fn total<const N: usize>(&mut self, cells: [String; N]) {
        self.total_of(cells.into());
    }

    /// The same for columns that depend on what there is to show.
    pub fn total_of(&mut self, cells: Vec<String>) {
        self.rows.push(Row::Rule);
        self.row_of(cells);
    }

    /// True where nothing was added.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as text, no line wider than `page` columns; each line ends
    /// with a line end.
    pub fn render(&self, page: usize) -> String {
        let natural: Vec<usize> = (0..self.columns.len())
            .map(|index| self.natural_width(index))
            .collect();
        let between = |gap: usize| gap * self.columns.len().saturating_sub(1);
        // Narrow gaps are easier to read than wrapped names.
        let whole: usize = natural.iter().sum();
        if let Some(gap) = GAPS.into_iter().find(|gap| whole + between(*gap) <= page) {
            return self.aligned(&natural, gap, page);
        }
        for gap in GAPS {
            let between = between(gap);
            if let Some(widths) = self.fit(&natural, page.saturating_sub(between)) {
                return self.aligned(&widths, gap, page);
            }
        }
        self.stacked(page)
    }

    fn natural_width(&self, index: usize) -> usize {
        let heading = self.heading_width(index);
        let cells = self.rows.iter().filter_map(|row| match row {
            Row::Cells(cells) => cells.get(index).map(|cell| text::width(cell)),
            Row::Note(_) | Row::Rule => None,
        });
        cells.fold(heading, usize::max)
    }

    fn heading_width(&self, index: usize) -> usize {
        let lines = self.columns.get(index).map(|c| c.heading.as_slice());
        let widths = lines.unwrap_or_default().iter().map(|l| text::width(l));
        widths.max().unwrap_or(0)
    }

    /// Takes columns from the widest text column until the rows fit.
    fn fit(&self, natural: &[usize], room: usize) -> Option<Vec<usize>> {
        let mut widths = natural.to_vec();
        loop {
            let total: usize = widths.iter().sum();
            if total <= room {
                return Some(widths);
            }
            let widest = widths
                .iter()
                .enumerate()
                .filter(|(index, width)| **width > self.narrowest(*index))
                .max_by_key(|(_, width)| **width)
                .map(|(index, _)| index)?;
            *widths.get_mut(widest)? -= 1;
        }
    }

    fn narrowest(&self, index: usize) -> usize {
        match self.columns.get(index).map(|c| c.setting) {
            Some(Setting::Text { .. }) => self.heading_width(index).max(TEXT_COLUMNS_MIN),
            _ => usize::MAX,
        }
    }

    fn aligned(&self, widths: &[usize], gap: usize, page: usize) -> String {
        let mut out = String::new();
        let headings = self.columns.iter().map(|c| c.heading.len()).max();
        for line in 0..headings.unwrap_or(0) {
            let cells = self.columns.iter().map(|column| {
                // Headings stand on the rule, so shorter ones begin lower.
                let above = headings.unwrap_or(0) - column.heading.len();
                let text = line.checked_sub(above).and_then(|l| column.heading.get(l));
                text.cloned().unwrap_or_default()
            });
            self.line(&mut out, cells, widths, gap);
        }
        let rule = || widths.iter().map(|w| "-".repeat(*w));
        self.line(&mut out, rule(), widths, gap);
        for row in &self.rows {
            match row {
                Row::Cells(cells) => self.cells(&mut out, cells, widths, gap),
                Row::Note(note) => push_note(&mut out, note, page),
                Row::Rule => self.line(&mut out, rule(), widths, gap),
            }
        }
        out
    }

    fn cells(&self, out: &mut String, cells: &[String], widths: &[usize], gap: usize) {
        let wrapped: Vec<Vec<String>> = self
            .columns
            .iter()
            .zip(cells)
            .zip(widths)
            .map(|((column, cell), width)| match column.setting {
                Setting::Number => vec![cell.clone()],
                Setting::Text { lines_max } => text::wrap_at_most(cell, *width, lines_max),
            })
            .collect();
        let height = wrapped.iter().map(Vec::len).max().unwrap_or(0);
        for line in 0..height {
            let cells = wrapped
                .iter()
                .map(|w| w.get(line).cloned().unwrap_or_default());
            self.line(out, cells, widths, gap);
        }
    }

    fn line(
        &self,
        out: &mut String,
        cells: impl Iterator<Item = String>,
        widths: &[usize],
        gap: usize,
    ) {
        let mut line = String::new();
        for (index, ((cell, column), width)) in cells.zip(&self.columns).zip(widths).enumerate() {
            if index > 0 {
                line.push_str(&" ".repeat(gap));
            }
            line.push_str(&match column.setting {
                Setting::Number => text::pad_left(&cell, *width),
                Setting::Text { .. } => text::pad_right(&cell, *width),
            });
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }

    /// One line for each cell, for rows that no page of this width can hold.
    fn stacked(&self, page: usize) -> String {
        let mut out = String::new();
        for row in &self.rows {
            match row {
                Row::Cells(cells) => {
                    for (index, (column, cell)) in self.columns.iter().zip(cells).enumerate() {
                        if cell.is_empty() {
                            continue;
                        }
                        let indent = if index == 0 { "" } else { "  " };
                        let heading = column.heading.join(" ");
                        let line = format!("{indent}{heading}: {}", cell.trim_start());
                        let _ = writeln!(out, "{}", text::paragraph(&line, page, 2));
                    }
                }
                Row::Note(note) => push_note(&mut out, note, page),
                Row::Rule => out.push('\n'),
            }
        }
        out
    }
}

/// Cleans a cell but keeps the spaces that set it in.
fn clean_indented(cell: &str) -> String {
    let indent = cell.len() - cell.trim_start_matches(' ').len();
    let cleaned = text::clean(cell);
    if cleaned.is_empty() {
        cleaned
    } else {
        format!("{}{cleaned}", " ".repeat(indent))
    }
}

fn push_note(out: &mut String, note: &str, page: usize) {
    out.push_str(&text::paragraph(note, page, 2));
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn sample(vehicle: &str, minutes: &str) -> Table {
        let mut table = Table::new([
            Column::number("job"),
            Column::text("vehicle"),
            Column::number("actual\nh:min"),
        ]);
        table.row(["118".to_owned(), vehicle.to_owned(), minutes.to_owned()]);
        table.note("     of it 0:40 rework");
        table.total([String::new(), "all".to_owned(), "1:00".to_owned()]);
        table
    }

    #[test]
    fn numbers_stand_on_the_right_and_units_in_the_heading() {
        insta::assert_snapshot!(sample("red van", "10:35").render(40), @"
                      actual
        job  vehicle   h:min
        ---  -------  ------
        118  red van   10:35
             of it 0:40 rework
        ---  -------  ------
             all        1:00
        ");
    }

    #[test]
    fn a_long_name_wraps_and_a_number_is_never_cut() {
        let rendered = sample("small red three-wheeler with a folding roof", "10:35").render(30);
        assert!(rendered.contains("10:35"), "{rendered}");
        assert!(rendered.lines().all(|l| text::width(l) <= 30), "{rendered}");
    }

    #[test]
    fn rows_that_fit_no_page_are_stacked_with_every_number_whole() {
        let rendered = sample("van", "123456789012345").render(20);
        insta::assert_snapshot!(rendered, @"
        job: 118
          vehicle: van
          actual h:min:
            123456789012345
             of it 0:40
               rework

          vehicle: all
          actual h:min:
            1:00
        ");
    }

    proptest! {
        #[test]
        fn no_line_is_wider_than_the_page(
            rows in proptest::collection::vec(("\\PC{0,60}", "\\PC{0,90}", "[0-9:]{0,14}"), 0..5),
            page in 40usize..120,
        ) {
            let mut table = Table::new([
                Column::text("type"), Column::whole_text("what"), Column::number("actual\nh:min"),
            ]);
            for (a, b, c) in rows {
                table.row([a, b.clone(), c]);
                table.note(&b);
            }
            for line in table.render(page).lines() {
                prop_assert!(text::width(line) <= page, "{line:?}");
            }
        }
    }
}
