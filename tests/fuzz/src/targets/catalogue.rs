//! The catalogue: its file as people write it, and its message on the wire.

use baywright_proto::catalogue::{from_wire, to_wire};
use baywright_proto::v1;
use baywright_terms::catalogue::change::{changed, describe};
use baywright_terms::catalogue::file::{read, write};
use baywright_terms::catalogue::{Catalogue, begin};
use prost::Message as _;
use std::sync::LazyLock;

use crate::Target;
use crate::food::Food;

const WORDS: &[&str] = &[
    "[shop]\n",
    "[[bay]]\n",
    "[[worker]]\n",
    "[[product]]\n",
    "[[stage]]\n",
    "[[job-type]]\n",
    "code = ",
    "name = ",
    "zone = \"Europe/Berlin\"\n",
    "currency = \"EUR\"\n",
    "units = \"metric\"\n",
    "open = [\"mon-fri 08:00-17:00\"]\n",
    "breaks = ",
    "\"15:1\"",
    "\"350ml\"",
    "\"1h30m\"",
    "\"12.50\"",
    "ratio = ",
    "pack = ",
    "price = ",
    "density = ",
    "rules = ",
    "never = ",
    "care = ",
    "why = ",
    "panels = ",
    "stages = ",
    "products = ",
    "allowance = ",
    "{",
    "}",
    "[",
    "]",
    "\n",
    "=",
    "\"\"\"",
    "'''",
    "#",
    "true",
    "retired = ",
    "source = \"label\"",
    "places = 2",
    "\"24:00\"",
    "\\u202e",
    "\\u0000",
    "inf",
    "nan",
    "1e999",
    "0x7fffffffffffffff",
    "1979-05-27",
    ".",
    "[[",
    "]]",
];

pub const FILE: Target = Target {
    name: "catalogue-file",
    run: file,
    words: WORDS,
    slower: 40,
    bytes_max: 64 * 1024,
};

pub const MESSAGE: Target = Target {
    name: "catalogue-message",
    run: message,
    words: &[
        "\n",
        "\u{12}",
        "\u{8}\u{1}",
        "EUR",
        "Europe/Berlin",
        "iron-remover",
        "350",
        "0.35",
        "15",
        "gloss",
    ],
    slower: 20,
    bytes_max: 16 * 1024,
};

/// The example shop of `deploy/`: an invented one.
const EXAMPLE: &str = include_str!("../../../../deploy/example-shop.toml");

static READ: LazyLock<Catalogue> = LazyLock::new(|| read(EXAMPLE).unwrap_or_default());

/// The catalogue of the invented example shop.
pub fn example() -> Catalogue {
    READ.clone()
}

fn file(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let mut food = Food::new(data);
    let mut answers = begin::Answers::default();
    let key = food.text(&[
        "name", "zone", "currency", "bays", "workers", "classes", "services", "open",
    ]);
    if begin::answer(&mut answers, &key, &String::from_utf8_lossy(food.rest())).is_ok() {
        accepted(&begin::build(&answers));
    }
    match read(&text) {
        Err(faults) => {
            assert!(!faults.is_empty(), "refused without a word");
            for fault in faults {
                let shown = fault.to_string();
                assert!(shown.len() < 4_000, "a fault of {} bytes", shown.len());
            }
        }
        Ok(catalogue) => accepted(&catalogue),
    }
}

/// What a file was read as is what is written, sent and read again.
fn accepted(catalogue: &Catalogue) {
    let written = write(catalogue);
    let again = read(&written);
    assert!(
        again.as_ref().ok() == Some(catalogue),
        "written as\n{written}\nread as {again:?}"
    );
    assert!(
        from_wire(&to_wire(catalogue)) == *catalogue,
        "the wire changed\n{written}"
    );
    assert!(changed(catalogue, catalogue).is_none());
    if let Some(all) = changed(&Catalogue::default(), catalogue) {
        let _ = describe(&Catalogue::default(), &all);
        let mut applied = Catalogue::default();
        applied.apply(&all);
        assert!(applied == *catalogue, "applied, it is another");
    }
}

fn message(data: &[u8]) {
    let Ok(wire) = v1::Catalogue::decode(data) else {
        return;
    };
    let catalogue = from_wire(&wire);
    let again = from_wire(&to_wire(&catalogue));
    assert!(again == catalogue, "{wire:?}\n{catalogue:?}\n{again:?}");
    // Whatever the wire held can be written; where it reads as a file, it reads the same.
    let written = write(&catalogue);
    if let Ok(read) = read(&written) {
        let third = write(&read);
        assert!(third == written, "{written}\n{third}");
    }
    let example = example();
    if let Some(all) = changed(&example, &catalogue) {
        let _ = describe(&example, &all);
    }
    let mut applied = example;
    applied.apply(&catalogue);
}
