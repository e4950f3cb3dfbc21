//! How work went through the shop, each figure with its formula.

use baywright_proto::v1::Flow;
use maud::html;

use super::Sheet;
use super::bays::share;
use crate::page::frame::Section;
use crate::page::phrase::permille;
use crate::page::table::{Column, Table, cell};
use crate::render::figure::{hours_minutes, span_words};

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let flow = sheet.week.flow.as_ref()?;
    if flow.opened == 0 && flow.released == 0 && flow.in_progress_us == 0 {
        return None;
    }
    let mut table = Table::new(
        "flow-table",
        "How work went through the shop",
        [
            Column::wide("Figure"),
            Column::number("Value"),
            Column::wide("How it is worked out"),
        ],
    );
    for (name, value, formula) in rows(sheet, flow) {
        table.row([cell(name), cell(value), html! { span.small { (formula) } }]);
    }
    Some(Section::new("flow", "How work flowed", table.render()))
}

fn rows(sheet: &Sheet<'_>, flow: &Flow) -> Vec<(&'static str, String, &'static str)> {
    let mut rows = vec![
        (
            "Jobs opened",
            flow.opened.to_string(),
            "opened within the span",
        ),
        (
            "Jobs released",
            flow.released.to_string(),
            "released within the span; their money counts here",
        ),
        (
            "Jobs in progress, mean",
            format!("{:.1}", flow.in_progress_mean),
            "time of all jobs between opening and release within the span, divided by its length",
        ),
    ];
    if let Some(cycle) = flow.cycle.filter(|cycle| cycle.n > 0) {
        rows.extend([
            (
                "Cycle time, half",
                span_words(cycle.half_us),
                "opening to release: half of the released jobs took no longer",
            ),
            (
                "Cycle time, nine in ten",
                span_words(cycle.p90_us),
                "nine in ten took no longer",
            ),
            (
                "Cycle time, mean",
                span_words(cycle.mean_us),
                "their sum divided by their number",
            ),
        ]);
    }
    let bays = &sheet.week.bays;
    let open_us = bays
        .iter()
        .map(|bay| bay.open_us)
        .fold(0, i64::saturating_add);
    let empty_us = bays
        .iter()
        .map(|bay| bay.empty_us)
        .fold(0, i64::saturating_add);
    if open_us > 0 {
        let occupied_us = open_us.saturating_sub(empty_us);
        rows.push((
            "Bays in use",
            format!(
                "{} of {}",
                hours_minutes(occupied_us),
                hours_minutes(open_us)
            ),
            "hours:minutes of places occupied within open hours, of all open ones",
        ));
        rows.push((
            "Utilisation",
            permille(share(occupied_us, open_us)),
            "the same as a share",
        ));
    }
    rows.push((
        "Flow share",
        permille(flow.flow_permille),
        "hands-on time of the released jobs divided by their time in bays",
    ));
    rows.push((
        "Jobs with rework",
        format!("{} ({})", flow.reworked, permille(flow.rework_permille)),
        "released jobs with a stage done again, or that put another right",
    ));
    rows
}
