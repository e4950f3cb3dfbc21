//! Tables from other programs, up to the facts that would be posted.

use baywright_client::commands::import::{Table, read_table};
use baywright_daemon::journal::post::FACT_BYTES_MAX;
use baywright_proto::v1;
use prost::Message as _;

use super::catalogue::example;
use super::screen::is_screen_safe;
use crate::Target;
use crate::food::Food;

pub const IMPORT: Target = Target {
    name: "import",
    run: import,
    words: &[
        "job,date,type,actual\n",
        "1,2025-03-24,trike-coat,2h30m\n",
        "date;type;actual;price\n",
        "Datum",
        "sep=;\n",
        "\"",
        "\"\"",
        "\r\n",
        "\t",
        ";",
        ",",
        "24.3.2025",
        "3/4/2025",
        "1:30",
        "1,5",
        "1.234,50",
        "EUR",
        "'=1+1",
        "iron-remover",
        "350ml",
        "polish",
        "stage:polish",
        "product:shampoo",
        "\u{feff}",
        "min",
        "(h)",
        "2025-02-29",
    ],
    slower: 40,
    bytes_max: 8 * 1024,
};

const MAPS: [&[&str]; 4] = [
    &[],
    &["job=job", "date=date", "type=type", "actual=actual"],
    &[
        "date=date",
        "type=type",
        "stage:polish=actual",
        "product:shampoo=price",
    ],
    &[
        "job=job",
        "date=date",
        "type=type",
        "stage=stage",
        "actual=actual",
        "worker=worker",
        "vehicle=vehicle",
        "price=price",
    ],
];

fn import(data: &[u8]) {
    let mut food = Food::new(data);
    let maps = food.pick(&MAPS).unwrap_or_default();
    let anyway = food.flag();
    let bytes = food.rest();
    let catalogue = example();
    let table = Table {
        bytes,
        maps: &maps.iter().map(|map| (*map).to_owned()).collect::<Vec<_>>(),
        sets: &[],
        codes: &["Polieren=polish".to_owned()],
        catalogue: &catalogue,
        anyway,
        today: jiff::civil::date(2026, 11, 24),
    };
    let Ok(read) = read_table(&table) else {
        return;
    };
    assert!(is_screen_safe(&read.shown), "{:?}", read.shown);
    assert!(
        read.jobs.len() <= bytes.len() / 4 + 1,
        "more jobs than lines"
    );
    let again = read_table(&table)
        .map(|again| again.jobs)
        .unwrap_or_default();
    assert!(again == read.jobs, "read differently the second time");
    for job in &read.jobs {
        assert_eq!(job.key.len(), 16);
        assert!(job.actual_us >= 0 && job.quoted_us >= 0, "{job:?}");
        assert!(
            job.stages.iter().all(|stage| stage.actual_us >= 0),
            "{job:?}"
        );
        let known = catalogue.job_types.contains_key(job.job_type.as_str());
        assert!(anyway || known || job.job_type == "unsorted", "{job:?}");
        let mut keys = read.jobs.iter().filter(|other| other.key == job.key);
        assert!(
            keys.next().is_some() && keys.next().is_none(),
            "two jobs of one key"
        );
    }
    let fact = v1::PastRecorded {
        source: "table".to_owned(),
        jobs: read.jobs,
    };
    assert!(
        fact.encoded_len() <= FACT_BYTES_MAX,
        "a fact of {} bytes",
        fact.encoded_len()
    );
}
