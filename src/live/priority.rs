//! Real-time priority for the threads that sound: a computer that is busy with something else is then
//! not late with them. Asked of the system for its threads by number, so that those of the sound
//! server's library get it too; refused, everything plays on as it is.
//!
//! Linux: what this user may (`ulimit -r`) by `chrt`, else what the desktop's service (RealtimeKit)
//! grants by `busctl`; both programs stand beside the system's own, and no library has to be built for
//! them. Only what plays asks: with
//! the microphone's threads first, the delay of the pair wandered by 18 to 24 ms from one sweep of
//! `calibrate` to the next (6 at most without; PulseAudio, two cores), and notes were heard where they
//! were not. CoreAudio gives its thread this priority by itself; on Windows it is not asked for.

use std::collections::BTreeSet;
use std::process::{Command, Stdio};

/// A low priority among real-time threads: above all threads that have none, below PulseAudio's
/// own, which are at 5 (`realtime-priority` in pulse-daemon.conf(5)), and below what the system
/// itself needs.
const PRIORITY: &str = "4";
/// RealtimeKit asks a program to let its threads be stopped when they compute for so long without a
/// pause, microseconds. A callback takes a hundredth of it.
const LONGEST_US: u64 = 200_000;

/// Whether threads that sound come before others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Priority {
    /// This user's own rights grant it.
    Own,
    /// The desktop's service grants it.
    Service,
    /// The system grants it in neither way.
    Refused,
    /// The system sees to it by itself, or cannot be asked.
    NotAsked,
}

impl std::fmt::Display for Priority {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Own => "real-time priority: granted to this user",
            Self::Service => "real-time priority: granted by the desktop's service",
            Self::Refused => {
                "real-time priority: refused, so that other programs may make the sound late; \
                 it plays all the same"
            }
            Self::NotAsked => "real-time priority: left to the system",
        })
    }
}

/// The threads that existed before a stream was opened.
pub(super) struct Before(BTreeSet<u32>);

impl Before {
    /// Thread: any but audio. Allocates: yes. Blocks: no.
    pub(super) fn opening() -> Self {
        Self(threads())
    }

    /// Asks for the priority of all threads that have come since, on a thread of its own, because a
    /// service may take its time. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(super) fn ask(self) {
        let new: Vec<u32> = threads().difference(&self.0).copied().collect();
        if new.is_empty() {
            return;
        }
        // without a thread the sound is as late as the system makes it
        let _ = std::thread::Builder::new()
            .name("priority".to_owned())
            .spawn(move || {
                for thread in new {
                    ask_for(thread);
                }
            });
    }
}

/// The priority that this system grants, tried with a thread that does nothing. Thread: main.
/// Allocates: yes. Blocks: on the system, a second at most.
pub fn priority() -> Priority {
    let before = threads();
    let (end, ended) = std::sync::mpsc::channel::<()>();
    let tried = std::thread::Builder::new()
        .name("tried".to_owned())
        .spawn(move || ended.recv().is_ok());
    let thread = threads().difference(&before).next().copied();
    let granted = thread.map_or(Priority::NotAsked, ask_for);
    drop(end);
    if let Ok(tried) = tried {
        let _ = tried.join();
    }
    granted
}

/// The numbers of this process's threads; none where the system does not tell.
fn threads() -> BTreeSet<u32> {
    let found = std::fs::read_dir("/proc/self/task").into_iter().flatten();
    found
        .filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok())
        .collect()
}

fn ask_for(thread: u32) -> Priority {
    let number = thread.to_string();
    if is_granted(thread) {
        return Priority::Own;
    }
    run(
        "chrt",
        &["--rr", "--reset-on-fork", "--pid", PRIORITY, &number],
    );
    if is_granted(thread) {
        return Priority::Own;
    }
    if !hold_to_the_longest() {
        return Priority::Refused;
    }
    let process = std::process::id().to_string();
    let service = "org.freedesktop.RealtimeKit1";
    let call = [
        "--timeout=1",
        "call",
        service,
        "/org/freedesktop/RealtimeKit1",
        service,
        "MakeThreadRealtimeWithPID",
        "ttu",
        &process,
        &number,
        PRIORITY,
    ];
    run("busctl", &call);
    if is_granted(thread) {
        Priority::Service
    } else {
        Priority::Refused
    }
}

fn run(program: &str, arguments: &[&str]) {
    let _ = Command::new(program)
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
}

/// RealtimeKit refuses a program that could hold the processor for ever.
fn hold_to_the_longest() -> bool {
    #[cfg(target_os = "linux")]
    {
        use rustix::process::{Resource, Rlimit, setrlimit};
        let limit = Rlimit {
            current: Some(LONGEST_US),
            maximum: Some(LONGEST_US),
        };
        setrlimit(Resource::Rttime, limit).is_ok()
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = LONGEST_US;
        false
    }
}

/// Whether a thread of this process has a real-time policy, as the system says.
fn is_granted(thread: u32) -> bool {
    std::fs::read_to_string(format!("/proc/self/task/{thread}/stat"))
        .is_ok_and(|stat| is_real_time(&stat))
}

/// The policy is field 41 of the line, counted from 1 (proc_pid_stat(5)): 1 first in, first out; 2 in
/// turns. The second field may hold spaces and brackets.
fn is_real_time(stat: &str) -> bool {
    let behind_name = stat.rsplit_once(')').map_or("", |(_, fields)| fields);
    // the third field is the first behind the name
    let policy = behind_name.split_whitespace().nth(41 - 3);
    matches!(policy, Some("1" | "2"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_policy_is_read_where_the_name_ends() {
        let line = |name: &str, policy: u32| {
            let before: Vec<String> = (4..41).map(|field| field.to_string()).collect();
            format!("12 ({name}) S {} {policy} 0 0", before.join(" "))
        };
        assert!(is_real_time(&line("sound", 1)));
        assert!(is_real_time(&line("a) name (1", 2)));
        assert!(!is_real_time(&line("sound", 0)));
        // the policies batch and idle are no real-time policies
        assert!(!is_real_time(&line("sound", 3)));
        assert!(!is_real_time(""));
    }

    /// Whatever this system grants, the system itself says the same afterwards, and nothing fails.
    #[test]
    fn what_is_told_is_what_the_system_says() {
        let told = priority();
        if cfg!(target_os = "linux") {
            assert_ne!(told, Priority::NotAsked);
        } else {
            assert_eq!(told, Priority::NotAsked);
        }
    }
}
