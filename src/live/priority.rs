//! Requests real-time priority for the audio threads, so that a busy computer does not cause
//! underruns. It is requested for threads by number, so that the threads of the sound server's
//! library get it too. Where it is refused, everything plays as before.
//!
//! On Linux it is set by `chrt` where the user has the right (`ulimit -r`), and else granted by the
//! desktop's service (RealtimeKit) through `busctl`. Both programs belong to the system, so that no
//! library has to be built for them. Only playback requests it. With the microphone's threads at
//! this priority, the latency of the pair varied by 18 to 24 ms from one sweep of `calibrate` to
//! the next (by at most 6 ms without; PulseAudio, two cores), and notes were heard at wrong times.
//! CoreAudio gives its thread this priority by itself. On Windows it is not requested.

use std::collections::BTreeSet;
use std::process::{Command, Stdio};

/// A low real-time priority. It is above all threads without real-time priority, below PulseAudio's
/// own threads at 5 (`realtime-priority` in pulse-daemon.conf(5)), and below what the system itself
/// needs.
const PRIORITY: &str = "4";
/// The longest time in microseconds that a thread may compute without a pause. RealtimeKit requires
/// a program to set such a limit, beyond which its thread is stopped. A callback takes a hundredth
/// of it.
const LONGEST_US: u64 = 200_000;

/// How real-time priority is granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Priority {
    /// The user's own rights allow real-time priority.
    Own,
    /// The desktop's service grants real-time priority.
    Service,
    /// The system refuses real-time priority.
    Refused,
    /// The system gives it by itself, or it cannot be requested.
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
    /// Lists the present threads. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(super) fn opening() -> Self {
        Self(threads())
    }

    /// Requests the priority for all threads that were started since. This is done on a thread of
    /// its own, because a service may be slow. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(super) fn ask(self) {
        let new: Vec<u32> = threads().difference(&self.0).copied().collect();
        if new.is_empty() {
            return;
        }
        // where no thread can be started the priority stays as it is
        let _ = std::thread::Builder::new()
            .name("priority".to_owned())
            .spawn(move || {
                for thread in new {
                    ask_for(thread);
                }
            });
    }
}

/// How this system grants the priority, tried with a thread that does nothing. Thread: main.
/// Allocates: yes. Blocks: on the system, for a second at most.
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

/// The numbers of this process's threads; empty where the system does not tell.
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

/// Limits how long a thread may compute without a pause, because RealtimeKit refuses a program
/// without that limit.
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

/// True where the system says that a thread of this process has a real-time policy.
fn is_granted(thread: u32) -> bool {
    std::fs::read_to_string(format!("/proc/self/task/{thread}/stat"))
        .is_ok_and(|stat| is_real_time(&stat))
}

/// Reads the policy from a line of a `stat` file. It is field 41, counted from 1
/// (proc_pid_stat(5)); 1 is first in first out, and 2 is round robin. The second field, the name,
/// may contain spaces and brackets.
fn is_real_time(stat: &str) -> bool {
    let behind_name = stat.rsplit_once(')').map_or("", |(_, fields)| fields);
    // the third field is the first one after the name
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
        // the policies batch and idle are not real-time policies
        assert!(!is_real_time(&line("sound", 3)));
        assert!(!is_real_time(""));
    }

    /// The system itself must report the priority that it granted, whatever that is.
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
