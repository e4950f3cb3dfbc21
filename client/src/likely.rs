//! The likely next facts of a bay, worked out of the floor as it is.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::catalogue::{AWAY, Catalogue};

use crate::ask::CHOICES_MAX;
use crate::nearby::job_of;

/// A fact that one digit posts.
#[derive(Debug, Clone, PartialEq)]
pub struct Likely {
    /// As one would type it, without `bay`.
    pub words: String,
    pub kind: Kind,
    /// `None`: the job in this bay then.
    pub job: Option<v1::JobRef>,
    /// Who it is about, where it is about one person.
    pub by: Vec<String>,
    /// Somebody must be named, and nobody is known yet.
    pub asks_who: bool,
}

impl Likely {
    fn new(words: String, kind: Kind, job: Option<v1::JobRef>) -> Self {
        Self {
            words,
            kind,
            job,
            by: Vec::new(),
            asks_who: false,
        }
    }
}

/// The likely next facts of a bay, most pressing first, at most nine: what
/// must be levelled (matte first), rinsed, finished, gone on with; then the
/// next stage, the hand-over, and vehicles that wait outside.
pub fn likely(now: &v1::NowResponse, catalogue: Option<&Catalogue>, bay: &str) -> Vec<Likely> {
    let jobs = now
        .bays
        .iter()
        .find(|b| b.bay == bay)
        .map_or(&[][..], |b| &b.jobs);
    let several = jobs.len() > 1;
    let mut found = Vec::new();
    for job in jobs {
        found.extend(sections(job, several));
    }
    for job in jobs {
        found.extend(dwells(job, several));
    }
    for job in jobs {
        found.extend(running(job, several));
    }
    found.extend(breaks(now, bay));
    for job in jobs {
        found.extend(next_stages(job, catalogue, several));
    }
    if jobs.is_empty() {
        found.extend(waiting_outside(now, bay));
    }
    found.truncate(CHOICES_MAX);
    found
}

/// The job is named only where the bay holds more than one.
fn named(job: &v1::NowJob, several: bool) -> Option<v1::JobRef> {
    several.then(|| v1::JobRef {
        job: Some(job_of(job)),
    })
}

fn of_job(job: &v1::NowJob, several: bool) -> String {
    if several {
        format!(" --job {}", name_of(job))
    } else {
        String::new()
    }
}

fn name_of(job: &v1::NowJob) -> String {
    if job.number > 0 {
        job.number.to_string()
    } else {
        job.handle.clone()
    }
}

/// Sections that wait to be levelled: matte forgives nothing, so it is first;
/// then whichever closes first.
fn sections(job: &v1::NowJob, several: bool) -> Vec<Likely> {
    let mut waiting: Vec<&v1::NowSection> = job.sections.iter().collect();
    waiting.sort_by_key(|s| {
        let closes = if s.level_until_us > 0 {
            s.level_until_us
        } else {
            i64::MAX
        };
        (s.finish != "matte", closes, s.coated_us)
    });
    waiting
        .into_iter()
        .map(|s| {
            let section = if s.section > 0 {
                format!("/{}", s.section)
            } else {
                String::new()
            };
            Likely::new(
                format!("level {}{section}{}", s.panel, of_job(job, several)),
                Kind::PanelLevelled(v1::PanelLevelled {
                    panel: s.panel.clone(),
                    section: s.section,
                    result: v1::LevelResult::Clean.into(),
                    amends: false,
                }),
                named(job, several),
            )
        })
        .collect()
}

fn dwells(job: &v1::NowJob, several: bool) -> Vec<Likely> {
    job.dwells
        .iter()
        .map(|dwell| {
            Likely::new(
                format!("dwell {} --end{}", dwell.product, of_job(job, several)),
                Kind::DwellEnded(v1::DwellEnded {
                    product: dwell.product.clone(),
                    panels: dwell.panels.clone(),
                }),
                named(job, several),
            )
        })
        .collect()
}

/// What is on is finished; what is paused goes on.
fn running(job: &v1::NowJob, several: bool) -> Vec<Likely> {
    let mut stages: Vec<&str> = Vec::new();
    for running in &job.running {
        if !stages.contains(&running.stage.as_str()) {
            stages.push(&running.stage);
        }
    }
    let done = stages.iter().map(|stage| {
        Likely::new(
            format!("done {stage}{}", of_job(job, several)),
            Kind::StageFinished(v1::StageFinished {
                stage: (*stage).to_owned(),
                result: v1::StageResult::Done.into(),
            }),
            named(job, several),
        )
    });
    let resumed = job.paused.iter().map(|paused| {
        let by = if paused.worker.is_empty() {
            String::new()
        } else {
            format!(" --by {}", paused.worker)
        };
        let mut likely = Likely::new(
            format!("resume {}{by}{}", paused.stage, of_job(job, several)),
            Kind::StageResumed(v1::StageResumed {
                stage: paused.stage.clone(),
            }),
            named(job, several),
        );
        likely.by = person(&paused.worker);
        likely
    });
    done.chain(resumed).collect()
}

/// People of this bay who are on a break come back.
fn breaks(now: &v1::NowResponse, bay: &str) -> Vec<Likely> {
    let away = now.workers.iter().filter(|w| w.on_break && w.bay == bay);
    away.map(|worker| {
        let mut likely = Likely::new(
            format!("resume --by {}", worker.worker),
            Kind::StageResumed(v1::StageResumed::default()),
            None,
        );
        likely.by = person(&worker.worker);
        likely
    })
    .collect()
}

fn person(worker: &str) -> Vec<String> {
    if worker.is_empty() {
        Vec::new()
    } else {
        vec![worker.to_owned()]
    }
}

/// The next stage without a record; where there is none and nothing runs, the
/// vehicle is ready to go.
fn next_stages(job: &v1::NowJob, catalogue: Option<&Catalogue>, several: bool) -> Vec<Likely> {
    let is_on = |stage: &str| {
        let on = job.running.iter().chain(&job.paused);
        on.into_iter().any(|s| s.stage == stage)
    };
    let known = |stage: &str| {
        catalogue.is_none_or(|c| c.stages.get(stage).is_none_or(|entry| !entry.retired))
    };
    let next = job
        .stages_open
        .iter()
        .find(|stage| !is_on(stage) && known(stage));
    let idle = job.running.is_empty() && job.paused.is_empty() && job.dwells.is_empty();
    match next {
        Some(stage) => {
            let mut likely = Likely::new(
                format!("start {stage}{}", of_job(job, several)),
                Kind::StageStarted(v1::StageStarted {
                    stage: stage.clone(),
                    ..v1::StageStarted::default()
                }),
                named(job, several),
            );
            likely.asks_who = true;
            vec![likely]
        }
        None if idle && job.sections.is_empty() && !job.stages_done.is_empty() => {
            vec![Likely::new(
                format!("release{}", of_job(job, several)),
                Kind::JobReleased(v1::JobReleased {}),
                named(job, several),
            )]
        }
        None => Vec::new(),
    }
}

/// An empty bay takes a vehicle that waits on the premises.
fn waiting_outside(now: &v1::NowResponse, bay: &str) -> Vec<Likely> {
    if bay.is_empty() {
        return Vec::new();
    }
    let holding = now.elsewhere.iter().filter(|job| job.place != AWAY);
    holding
        .map(|job| {
            Likely::new(
                format!("bring {}", name_of(job)),
                Kind::JobMoved(v1::JobMoved {
                    place: bay.to_owned(),
                }),
                named(job, true),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn floor(jobs: Vec<v1::NowJob>, elsewhere: Vec<v1::NowJob>) -> v1::NowResponse {
        v1::NowResponse {
            bays: vec![v1::NowBay {
                bay: "bay-2".to_owned(),
                jobs,
                ..v1::NowBay::default()
            }],
            elsewhere,
            ..v1::NowResponse::default()
        }
    }

    fn job(number: u64) -> v1::NowJob {
        v1::NowJob {
            number,
            place: "holding".to_owned(),
            ..v1::NowJob::default()
        }
    }

    fn on(stage: &str, worker: &str) -> v1::NowStage {
        v1::NowStage {
            stage: stage.to_owned(),
            worker: worker.to_owned(),
            ..v1::NowStage::default()
        }
    }

    fn section(panel: &str, finish: &str, until_us: i64) -> v1::NowSection {
        v1::NowSection {
            panel: panel.to_owned(),
            finish: finish.to_owned(),
            level_until_us: until_us,
            ..v1::NowSection::default()
        }
    }

    fn strings(words: &[&str]) -> Vec<String> {
        words.iter().map(|w| (*w).to_owned()).collect()
    }

    #[test]
    fn the_most_pressing_fact_comes_first() {
        let dwell = v1::NowDwell {
            product: "iron-remover".to_owned(),
            ..v1::NowDwell::default()
        };
        let cases = [
            (
                "an empty bay and an empty shop",
                floor(vec![], vec![]),
                vec![],
            ),
            (
                "an empty bay takes what waits outside",
                floor(
                    vec![],
                    vec![
                        job(118),
                        v1::NowJob {
                            place: "away".to_owned(),
                            ..job(9)
                        },
                    ],
                ),
                vec!["bring 118"],
            ),
            (
                "the first stage without a record",
                floor(
                    vec![v1::NowJob {
                        stages_open: strings(&["decon", "dry"]),
                        ..job(118)
                    }],
                    vec![job(119)],
                ),
                vec!["start decon"],
            ),
            (
                "what is on is finished before the next one starts",
                floor(
                    vec![v1::NowJob {
                        running: vec![on("decon", "ana"), on("decon", "ben")],
                        stages_open: strings(&["decon", "dry"]),
                        ..job(118)
                    }],
                    vec![],
                ),
                vec!["done decon", "start dry"],
            ),
            (
                "matte is levelled first, then what closes first; then the rinse",
                floor(
                    vec![v1::NowJob {
                        sections: vec![
                            section("bonnet", "gloss", 50),
                            section("door", "gloss", 40),
                            section("tank", "matte", 90),
                        ],
                        dwells: vec![dwell],
                        ..job(118)
                    }],
                    vec![],
                ),
                vec![
                    "level tank",
                    "level door",
                    "level bonnet",
                    "dwell iron-remover --end",
                ],
            ),
            (
                "all done and nothing on: it goes",
                floor(
                    vec![v1::NowJob {
                        stages_done: strings(&["decon"]),
                        ..job(118)
                    }],
                    vec![],
                ),
                vec!["release"],
            ),
            (
                "two vehicles in one bay are named",
                floor(
                    vec![
                        v1::NowJob {
                            running: vec![on("polish", "ana")],
                            ..job(118)
                        },
                        v1::NowJob {
                            number: 0,
                            handle: "b2-7".to_owned(),
                            paused: vec![on("dry", "ben")],
                            ..job(0)
                        },
                    ],
                    vec![],
                ),
                vec!["done polish --job 118", "resume dry --by ben --job b2-7"],
            ),
        ];
        for (name, floor, expected) in cases {
            let found = likely(&floor, None, "bay-2");
            let words: Vec<&str> = found.iter().map(|l| l.words.as_str()).collect();
            assert_eq!(words, expected, "{name}");
        }
    }

    #[test]
    fn there_are_never_more_than_the_digits() {
        let many = (1..30).map(job).collect();
        assert_eq!(
            likely(&floor(vec![], many), None, "bay-2").len(),
            CHOICES_MAX
        );
    }

    #[test]
    fn a_worker_on_a_break_here_comes_back() {
        let mut now = floor(vec![], vec![]);
        now.workers.push(v1::NowWorker {
            worker: "ana".to_owned(),
            bay: "bay-2".to_owned(),
            on_break: true,
            ..v1::NowWorker::default()
        });
        let found = likely(&now, None, "bay-2");
        assert_eq!(found[0].words, "resume --by ana");
        assert_eq!(found[0].by, ["ana"]);
        assert!(likely(&now, None, "bay-1").is_empty());
    }
}
