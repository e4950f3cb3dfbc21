//! Every target over what is kept for it and over seeded mutations of that, as
//! many as `BAYWRIGHT_FUZZ_INPUTS` says; `.ci/run fuzz` runs many more.

use baywright_fuzz::{Target, drive, kept, targets};

/// Inputs for the quickest target where nobody says another number; slower ones
/// get their share. Some seconds in a test build.
const INPUTS: u64 = 3_000;

fn said(name: &str, otherwise: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|said| said.parse().ok())
        .unwrap_or(otherwise)
}

#[test]
fn every_target_takes_what_is_kept_and_what_is_made_of_it() {
    let seed = said("BAYWRIGHT_SEED", 20_261_201);
    let inputs = said("BAYWRIGHT_FUZZ_INPUTS", INPUTS);
    let mut all = 0;
    let mut broken = Vec::new();
    for target in targets::ALL {
        match drive::run(target, seed, (inputs / target.slower).max(1)).unwrap() {
            Ok(done) => {
                all += done.kept + done.made;
                println!(
                    "{}: {} kept, {} made, slowest {} ms",
                    target.name,
                    done.kept,
                    done.made,
                    done.slowest.as_millis()
                );
            }
            Err(found) => broken.push(found.to_string()),
        }
    }
    println!("{all} inputs, seed {seed}");
    assert!(broken.is_empty(), "seed {seed}:\n{}", broken.join("\n\n"));
}

#[test]
fn every_target_has_inputs_that_are_kept_and_few_of_them() {
    const FILES_MAX: usize = 60;
    const BYTES_MAX: usize = 1024 * 1024;
    let mut bytes = 0;
    for target in targets::ALL {
        let inputs = kept::inputs(target.name).unwrap();
        assert!(!inputs.is_empty(), "nothing is kept for {}", target.name);
        assert!(
            inputs.len() <= FILES_MAX,
            "{}: {}",
            target.name,
            inputs.len()
        );
        bytes += inputs.iter().map(|(_, input)| input.len()).sum::<usize>();
    }
    assert!(bytes <= BYTES_MAX, "{bytes} bytes are kept");
}

#[test]
fn a_target_that_breaks_is_told_with_its_input() {
    let breaks = Target {
        name: "breaks",
        run: |data| assert!(!data.contains(&b'!'), "an exclamation"),
        words: &["!"],
        slower: 1,
        bytes_max: 64,
    };
    let broken = drive::run(&breaks, 1, 1_000).unwrap().unwrap_err();
    assert!(broken.input.contains(&b'!'));
    let told = broken.to_string();
    assert!(
        told.contains("found/breaks/") && told.contains("21"),
        "{told}"
    );
}
