//! `baywrightd enrol`.

use std::process::ExitCode;

use anyhow::bail;
use baywright_proto::{DEFAULT_JOIN_PORT, v1};

use super::{console, data_dir_of};
use crate::access::is_initialised;
use crate::access::joining::{CODE_MINUTES, TRIES_MAX};
use crate::args::EnrolArgs;

/// Where the system keeps its users: `name:password:user id:...` (passwd(5)).
const PASSWD: &str = "/etc/passwd";

pub(super) fn run(args: &EnrolArgs) -> anyhow::Result<ExitCode> {
    let dir = data_dir_of(&args.data)?;
    if !is_initialised(&dir) {
        bail!(
            "there are no certificates in {} yet: run `baywrightd init`, then start the daemon again",
            dir.display()
        );
    }
    let user_id = args.user.as_deref().map(user_id_of).transpose()?;
    let request = v1::EnrolRequest {
        device: args.device.clone(),
        role: v1::Role::from(args.role).into(),
        user_id,
    };
    let answer = console::ask(&dir, args.socket.as_deref(), async |mut access| {
        access.enrol(request).await
    })?;
    let Some(answer) = answer else {
        bail!("no daemon runs on {}: start it, then enrol", dir.display());
    };
    if args.json {
        println!("{}", json(args, &answer));
    } else if let Some(user_id) = user_id {
        println!(
            "User {user_id} of this computer is let in as {}, {}. `bay` finds the daemon by itself.",
            args.device,
            args.role.with_article()
        );
    } else {
        print_code(args, &answer);
    }
    Ok(ExitCode::SUCCESS)
}

fn print_code(args: &EnrolArgs, answer: &v1::EnrolResponse) {
    let port = match u16::try_from(answer.port) {
        Ok(DEFAULT_JOIN_PORT) => String::new(),
        _ => format!(":{}", answer.port),
    };
    println!("At {}, within {CODE_MINUTES} minutes, type:", args.device);
    println!();
    match answer.addresses.as_slice() {
        [] => println!("    bay join THIS-SERVER{port} {}", answer.code),
        addresses => {
            for address in addresses {
                println!("    bay join {address}{port} {}", answer.code);
            }
        }
    }
    println!();
    if answer.addresses.len() > 1 {
        println!("One of them: this server has several addresses.");
    }
    println!("The code is good once, and for {TRIES_MAX} tries.");
    println!(
        "The device is then let in as {}: {}.",
        args.role.with_article(),
        args.role.means()
    );
}

fn json(args: &EnrolArgs, answer: &v1::EnrolResponse) -> serde_json::Value {
    serde_json::json!({
        "device": args.device,
        "role": args.role.word(),
        "code": answer.code,
        "expires_us": answer.expires_us,
        "join_port": answer.port,
        "addresses": answer.addresses,
    })
}

/// A user by number or name.
fn user_id_of(user: &str) -> anyhow::Result<u32> {
    if let Ok(number) = user.parse() {
        return Ok(number);
    }
    let text = std::fs::read_to_string(PASSWD).unwrap_or_default();
    let Some(number) = user_in(&text, user) else {
        bail!("this computer has no user `{user}`: give a name of {PASSWD}, or a number (`id -u`)");
    };
    Ok(number)
}

fn user_in(passwd: &str, user: &str) -> Option<u32> {
    passwd.lines().find_map(|line| {
        let mut fields = line.split(':');
        let known = fields.next()?;
        let number = fields.nth(1)?;
        (known == user).then(|| number.parse().ok()).flatten()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn users_are_found_by_name_or_number() {
        let passwd = "root:x:0:0:root:/root:/bin/sh\nana:x:1001:1001::/srv/ana:/bin/sh\nbroken\n";
        assert_eq!(user_in(passwd, "ana"), Some(1001));
        assert_eq!(user_in(passwd, "an"), None);
        assert_eq!(user_in(passwd, "broken"), None);
        assert_eq!(user_id_of("1234").unwrap(), 1234);
        assert!(user_id_of("no-such-user-here").is_err());
    }
}
