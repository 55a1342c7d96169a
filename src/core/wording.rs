//! The English of messages: counts, lists, "did you mean".
//!
//! Knows words; knows nothing of what they are about.

/// `1 bar`, `2 bars`; `plural` is the word for anything but one.
pub fn count(number: usize, singular: &str, plural: &str) -> String {
    if number == 1 {
        format!("1 {singular}")
    } else {
        format!("{number} {plural}")
    }
}

/// `a`, `a and b`, `a, b and c`.
pub fn list<S: AsRef<str>>(words: &[S]) -> String {
    joined(words, "and")
}

/// `a`, `a or b`, `a, b or c`.
pub fn choice<S: AsRef<str>>(words: &[S]) -> String {
    joined(words, "or")
}

fn joined<S: AsRef<str>>(words: &[S], last: &str) -> String {
    match words {
        [] => String::new(),
        [only] => only.as_ref().to_owned(),
        [most @ .., end] => {
            let most: Vec<&str> = most.iter().map(AsRef::as_ref).collect();
            format!("{} {last} {}", most.join(", "), end.as_ref())
        }
    }
}

/// The name nearest to what was typed, or nothing when none is near enough to be meant.
pub fn nearest<'a>(typed: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = typed.to_lowercase();
    names
        .into_iter()
        .map(|name| {
            let near = strsim::damerau_levenshtein(&typed, &name.to_lowercase());
            (near, name)
        })
        .filter(|(near, name)| {
            let length = name.chars().count().max(typed.chars().count());
            *near <= (length / 3).max(1) && *near < length
        })
        .min_by_key(|(near, _)| *near)
        .map(|(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_and_lists_read_as_english() {
        assert_eq!(count(1, "bar", "bars"), "1 bar");
        assert_eq!(count(0, "bar", "bars"), "0 bars");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
        assert_eq!(choice(&["a", "b"]), "a or b");
        assert_eq!(list::<&str>(&[]), "");
    }

    #[test]
    fn only_a_near_name_is_suggested() {
        assert_eq!(nearest("ladr", ["ladder", "clean"]), Some("ladder"));
        assert_eq!(nearest("zzzz", ["ladder", "clean"]), None);
    }
}
