//! What the device that plays is called, so that a trim can be remembered for it.

use rodio::cpal;
use rodio::cpal::traits::DeviceTrait;

/// The name of an opened device, as the system tells it; `None` when it tells none.
///
/// On Linux every program plays to "default", whatever is plugged in: there the sound server is asked which output that is.
pub(super) fn name(device: &cpal::Device) -> Option<String> {
    let told = || device.description().ok().map(|description| description.name().trim().to_owned());
    server_output().or_else(told).filter(|name| !name.is_empty())
}

/// The sound server's default output in the server's own words: PulseAudio's, or PipeWire's in its place, through the small
/// program that comes with it. `None` where there is no such server or program.
#[cfg(target_os = "linux")]
pub(super) fn server_output() -> Option<String> {
    let ask = |arguments: &[&str]| {
        let asked = std::process::Command::new("pactl")
            .args(arguments)
            .env("LC_ALL", "C")
            .stdin(std::process::Stdio::null())
            .output()
            .ok()?;
        asked.status.success().then(|| String::from_utf8_lossy(&asked.stdout).into_owned())
    };
    let id = ask(&["get-default-sink"])?;
    let id = id.trim();
    (!id.is_empty()).then(|| described(&ask(&["list", "sinks"]).unwrap_or_default(), id))
}

#[cfg(not(target_os = "linux"))]
pub(super) fn server_output() -> Option<String> {
    None
}

/// The description of the output `id` in the server's list, or `id` itself.
#[cfg(any(target_os = "linux", test))]
fn described(list: &str, id: &str) -> String {
    let value = |line: &str, key: &str| line.trim().strip_prefix(key).map(|value| value.trim().to_owned());
    let mut lines = list.lines().skip_while(|line| value(line, "Name:").as_deref() != Some(id)).skip(1);
    lines
        .by_ref()
        .take_while(|line| value(line, "Name:").is_none())
        .find_map(|line| value(line, "Description:"))
        .filter(|description| !description.is_empty())
        .unwrap_or_else(|| id.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_description_is_that_of_the_right_output() {
        // The form that `pactl list sinks` of PulseAudio 16.1 has, shortened.
        let list = "Sink #0\n\tState: IDLE\n\tName: one\n\tDescription: Built-in Speaker\n\tDriver: d\n\n\
                    Sink #1\n\tState: RUNNING\n\tName: two\n\tDescription: Box on the Shelf\n";
        assert_eq!(described(list, "two"), "Box on the Shelf");
        assert_eq!(described(list, "one"), "Built-in Speaker");
        assert_eq!(described(list, "three"), "three");
        assert_eq!(described("\tName: one\n\tName: two\n\tDescription: other\n", "one"), "one");
        assert_eq!(described("", "one"), "one");
    }
}
