//! The file layer of `disk.c`: made once, loaded into the processes under test.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use tempfile::TempDir;

/// The compiled layer. Its folder lives as long as the test process.
fn library() -> &'static Path {
    static MADE: OnceLock<(TempDir, PathBuf)> = OnceLock::new();
    let (_, path) = MADE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("disk.so");
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("faults/disk.c");
        let made = Command::new("cc")
            .args(["-Wall", "-Wextra", "-Werror", "-O1", "-shared", "-fPIC"])
            .arg("-o")
            .arg(&path)
            .arg(source)
            .args(["-ldl", "-lpthread"])
            .output()
            .expect("cc, which SQLite needs as well");
        assert!(
            made.status.success(),
            "{}",
            String::from_utf8_lossy(&made.stderr)
        );
        (folder, path)
    });
    path
}

/// A folder whose processes run on the layer.
#[derive(Debug)]
pub(crate) struct Layer {
    home: TempDir,
    traces: bool,
}

impl Layer {
    /// Writes down every call, and answers flushes at once: what survives is the model's to say.
    pub(crate) fn tracing() -> Self {
        Self {
            home: crate::folder(),
            traces: true,
        }
    }

    /// Only lets calls fail that the rules name.
    pub(crate) fn failing() -> Self {
        Self {
            home: crate::folder(),
            traces: false,
        }
    }

    /// The folder that is watched; a process under test has its data here.
    pub(crate) fn root(&self) -> PathBuf {
        self.home.path().join("disk")
    }

    /// Beside the watched folder, for what is not under test.
    pub(crate) fn beside(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    pub(crate) fn trace(&self) -> PathBuf {
        self.home.path().join("trace")
    }

    fn rules(&self) -> PathBuf {
        self.home.path().join("rules")
    }

    /// What a process has to find in its environment.
    pub(crate) fn environment(&self) -> Vec<(&'static str, OsString)> {
        let mut environment = vec![
            ("LD_PRELOAD", library().as_os_str().to_owned()),
            ("BAYWRIGHT_DISK_ROOT", self.root().into_os_string()),
            ("BAYWRIGHT_DISK_RULES", self.rules().into_os_string()),
        ];
        if self.traces {
            environment.push(("BAYWRIGHT_DISK_TRACE", self.trace().into_os_string()));
        }
        environment
    }

    /// From now on calls fail as these lines say; the top of `disk.c` has the words.
    pub(crate) fn fail(&self, rules: &[&str]) {
        let next = self.home.path().join("rules.next");
        std::fs::write(&next, rules.join("\n") + "\n").expect("rules");
        // At once, and seen as a new file.
        std::fs::rename(&next, self.rules()).expect("rules in force");
    }

    /// From now on every call works. Gives how often the rules had been met.
    pub(crate) fn heal(&self) -> usize {
        self.fail(&[]);
        let felt = self.rules().with_extension("felt");
        let met = std::fs::read_to_string(&felt).map_or(0, |lines| lines.lines().count());
        let _ = std::fs::remove_file(felt);
        met
    }
}
