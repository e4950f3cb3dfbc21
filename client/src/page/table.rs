//! Tables with a caption, headers that say what they head, and rows that can
//! be opened by their id.

use maud::{Markup, html};

/// How the cells of a column stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Text,
    /// Text that needs room before it breaks.
    Wide,
    /// Never broken: a day, a name of one word.
    Short,
    /// Right-aligned, never broken.
    Number,
}

#[derive(Debug, Clone)]
pub(super) struct Column {
    title: String,
    kind: Kind,
}

impl Column {
    pub(super) fn text(title: &str) -> Self {
        Self::of(title, Kind::Text)
    }

    pub(super) fn wide(title: &str) -> Self {
        Self::of(title, Kind::Wide)
    }

    pub(super) fn short(title: &str) -> Self {
        Self::of(title, Kind::Short)
    }

    pub(super) fn number(title: &str) -> Self {
        Self::of(title, Kind::Number)
    }

    fn of(title: &str, kind: Kind) -> Self {
        Self {
            title: title.to_owned(),
            kind,
        }
    }

    fn class(&self) -> Option<&'static str> {
        match self.kind {
            Kind::Text => None,
            Kind::Wide => Some("w"),
            Kind::Short => Some("s"),
            Kind::Number => Some("n"),
        }
    }
}

/// A table in the making; the first cell of each row heads it.
#[derive(Debug)]
pub(super) struct Table {
    /// Unique on the page.
    id: String,
    caption: String,
    columns: Vec<Column>,
    rows: Vec<Markup>,
    totals: Vec<Markup>,
}

impl Table {
    pub(super) fn new(
        id: impl Into<String>,
        caption: impl Into<String>,
        columns: impl IntoIterator<Item = Column>,
    ) -> Self {
        Self {
            id: id.into(),
            caption: caption.into(),
            columns: columns.into_iter().collect(),
            rows: Vec::new(),
            totals: Vec::new(),
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    pub(super) fn row(&mut self, cells: impl IntoIterator<Item = Markup>) {
        let row = self.cells(cells, None);
        self.rows.push(row);
    }

    /// A row of a class of its own.
    pub(super) fn row_of(&mut self, class: &str, cells: impl IntoIterator<Item = Markup>) {
        let row = self.cells(cells, Some(class));
        self.rows.push(row);
    }

    /// A row below all others that sums them up.
    pub(super) fn total(&mut self, cells: impl IntoIterator<Item = Markup>) {
        let row = self.cells(cells, None);
        self.totals.push(row);
    }

    fn cells(&self, cells: impl IntoIterator<Item = Markup>, class: Option<&str>) -> Markup {
        html! {
            tr class=[class] {
                @for (index, (cell, column)) in cells.into_iter().zip(&self.columns).enumerate() {
                    @if index == 0 {
                        th scope="row" class=[column.class()] { (cell) }
                    } @else {
                        td class=[column.class()] { (cell) }
                    }
                }
            }
        }
    }

    /// The table in a region that scrolls by itself where the screen is narrow,
    /// and that the keyboard can reach for it.
    pub(super) fn render(&self) -> Markup {
        let caption_id = format!("{}-caption", self.id);
        html! {
            div.scroll role="group" tabindex="0" aria-labelledby=(caption_id) {
                table {
                    caption id=(caption_id) { (self.caption) }
                    thead {
                        tr {
                            @for column in &self.columns {
                                th scope="col" class=[column.class()] { (column.title) }
                            }
                        }
                    }
                    tbody { @for row in &self.rows { (row) } }
                    @if !self.totals.is_empty() {
                        tfoot { @for row in &self.totals { (row) } }
                    }
                }
            }
        }
    }
}

/// What heads a row, with the id that opens it.
pub(super) fn named(name: &str, id: &str) -> Markup {
    html! {
        (name)
        @if !id.is_empty() { small.id { (id) } }
    }
}

/// Plain text as a cell.
pub(super) fn cell(text: impl AsRef<str>) -> Markup {
    html! { (text.as_ref()) }
}
