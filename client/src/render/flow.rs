//! How work flowed through the shop, in sentences.

use baywright_proto::v1::Week;

use super::figure::{counted, mean, span_words, whole_percent};
use super::text::{clean, push, section};

/// The section; empty where nothing came in, went out or was there.
pub(super) fn flow(week: &Week, page: usize) -> String {
    let Some(flow) = week
        .flow
        .filter(|flow| flow.opened > 0 || flow.released > 0 || flow.in_progress_us > 0)
    else {
        return String::new();
    };
    let mut said = vec![format!(
        "{} came in, {} went out; on average {} in progress.",
        counted(u64::from(flow.opened), "job", "jobs"),
        flow.released,
        match mean(flow.in_progress_mean).as_str() {
            "1" => "1 job was".to_owned(),
            jobs => format!("{jobs} jobs were"),
        },
    )];
    if let Some(cycle) = flow.cycle.filter(|cycle| cycle.n > 0) {
        said.push(match cycle.n {
            1 => format!("From opening to release it took {}.", span_words(cycle.half_us)),
            _ => format!(
                "From opening to release: half of the jobs within {}, four in five within {}, nine in ten within {}.",
                span_words(cycle.half_us),
                span_words(cycle.p80_us),
                span_words(cycle.p90_us)
            ),
        });
    }
    if flow.released > 0 {
        said.push(format!(
            "Of the time that the jobs released spent in bays, {} % was hands-on.",
            whole_percent(flow.flow_permille)
        ));
        said.push(match flow.reworked {
            0 => "None of them had rework.".to_owned(),
            n => {
                // Once from the counts: a rounded share of a thousand would be
                // rounded twice.
                let released = u64::from(flow.released.max(1));
                let percent = (u64::from(n) * 100 + released / 2) / released;
                format!("{n} of {} had rework ({percent} %).", flow.released)
            }
        });
    }
    let mut out = section("Flow", page);
    push(&mut out, &said.join(" "), page);
    if !week.quantiles.is_empty() {
        let how = format!(
            "Half, four in five and nine in ten here and above: {}.",
            clean(&week.quantiles)
        );
        push(&mut out, &how, page);
    }
    out
}
