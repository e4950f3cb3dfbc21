//! `baywrightd init`.

use std::process::ExitCode;

use baywright_terms::join_code::fingerprint_words;

use super::data_dir_of;
use crate::access;
use crate::args::InitArgs;
use crate::lock::make_private_dir;

pub(super) fn run(args: &InitArgs) -> anyhow::Result<ExitCode> {
    let dir = data_dir_of(&args.data)?;
    make_private_dir(&dir)?;
    let authority = access::init(&dir)?;
    let fingerprint = fingerprint_words(authority.fingerprint());
    if args.json {
        let line = serde_json::json!({
            "access": dir.join(access::ACCESS_DIR),
            "fingerprint": fingerprint,
        });
        println!("{line}");
        return Ok(ExitCode::SUCCESS);
    }
    println!("The shop has its authority now, {fingerprint}.");
    println!(
        "Its keys lie in {}: whoever has them",
        dir.join(access::ACCESS_DIR).display()
    );
    println!("can let devices in. Backups hold them too.");
    println!();
    println!("Start the daemon again now. From then on other computers can reach it, and");
    println!("each needs a certificate:");
    println!("    systemctl restart baywright      # or stop and start `baywrightd serve`");
    println!("    baywrightd enrol bay-1 --role bay");
    Ok(ExitCode::SUCCESS)
}
