//! The English of messages: counts, lists, "did you mean".
//!
//! Knows words; knows nothing of what they are about.

use std::borrow::Cow;

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

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().collect::<String>() + letters.as_str()
    })
}

/// Without the accents that vowels of Gaelic words have, however they are encoded, so that a word is
/// found with and without them.
pub fn without_accents(text: &str) -> String {
    text.chars()
        .filter(|sign| !matches!(sign, '\u{300}'..='\u{36f}'))
        .map(|sign| match sign {
            'à' | 'á' => 'a',
            'è' | 'é' => 'e',
            'ì' | 'í' => 'i',
            'ò' | 'ó' => 'o',
            'ù' | 'ú' => 'u',
            'À' | 'Á' => 'A',
            'È' | 'É' => 'E',
            'Ì' | 'Í' => 'I',
            'Ò' | 'Ó' => 'O',
            'Ù' | 'Ú' => 'U',
            other => other,
        })
        .collect()
}

/// True for a sign that is not seen and yet changes what is: the control signs C0, delete and C1,
/// with which a terminal's commands begin, separators of lines, marks that turn the direction of
/// text (Unicode Standard Annex 9), and tags. A joiner is none: letters and emoji are made with it.
pub fn is_unseen(sign: char) -> bool {
    sign.is_control()
        || matches!(sign,
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
            | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// True for a sign that is not seen and is neither the end of a line nor a tab.
pub fn is_hidden(sign: char) -> bool {
    is_unseen(sign) && !matches!(sign, '\n' | '\t')
}

/// A text with every unseen sign written out, `\u{1b}` for an escape; ends of lines and tabs stay.
pub fn visible(text: &str) -> Cow<'_, str> {
    if !text.contains(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut seen = String::with_capacity(text.len() + 16);
    let mut signs = text.chars().peekable();
    while let Some(sign) = signs.next() {
        let ends_a_line = sign == '\r' && signs.peek() == Some(&'\n');
        if is_hidden(sign) && !ends_a_line {
            seen.extend(sign.escape_unicode());
        } else {
            seen.push(sign);
        }
    }
    Cow::Owned(seen)
}

/// The longest word that is looked for among names, characters; longer ones are no slip.
const LONGEST_NAME: usize = 64;

/// The name nearest to what was typed, or nothing when none is near enough to be meant.
pub fn nearest<'a>(typed: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if typed.chars().nth(LONGEST_NAME).is_some() {
        return None;
    }
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

/// `listen for: the B gracenote small`. With a colon, because what is to be heard is a thing in one
/// drill and a whole sentence in another ("both low Gs are heard").
pub fn listen_for(what: &str) -> String {
    format!("listen for: {what}")
}

/// Letters from which on a word that is searched for may be part of another, and one of its letters
/// wrong: shorter ones stand in every text.
const TELLING_LETTERS: (usize, usize) = (3, 4);

fn words(text: &str) -> Vec<String> {
    let text = without_accents(text).to_lowercase();
    let words = text.split(|sign: char| !sign.is_alphanumeric());
    let words = words.filter(|word| !word.is_empty());
    words.map(str::to_owned).collect()
}

/// True where every word that is searched for stands in the text, in any order: at the beginning of a
/// word, or from three letters on anywhere in it.
pub fn has_words(searched: &str, text: &str) -> bool {
    let there = words(text);
    words(searched).iter().all(|wanted| {
        let part = wanted.chars().count() >= TELLING_LETTERS.0;
        there
            .iter()
            .any(|word| word.starts_with(wanted) || part && word.contains(wanted))
    })
}

/// The same where in words of four letters or more one letter may be wrong, missing, too many or
/// exchanged with the next.
pub fn nearly_has_words(searched: &str, text: &str) -> bool {
    let there = words(text);
    let nearly = |wanted: &String, word: &String| {
        let letters = wanted.chars().count();
        letters >= TELLING_LETTERS.1
            && letters <= LONGEST_NAME
            && (letters - 1..=letters + 1).any(|kept| {
                let begin: String = word.chars().take(kept).collect();
                strsim::damerau_levenshtein(wanted, &begin) <= 1
            })
    };
    words(searched)
        .iter()
        .all(|wanted| has_words(wanted, text) || there.iter().any(|word| nearly(wanted, word)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Who types two words of a title, or one with a slip, means the drill all the same; a word of two
    /// letters stands in too many texts to be looked for inside words.
    #[test]
    fn words_are_found_in_any_order_and_with_one_wrong_letter() {
        let title = "taorluath-from-low-g Taorluath from low G";
        assert!(has_words("taorluath low g", title));
        assert!(has_words("low g taor", title));
        assert!(has_words("LUATH", title));
        assert!(!has_words("ow g", title));
        assert!(!has_words("taorluath low a", title));
        assert!(!has_words("tarluath", title));
        for slip in [
            "tarluath",
            "taorluaht",
            "taorlauth low",
            "toorluath",
            "taorlluath",
        ] {
            assert!(nearly_has_words(slip, title), "{slip}");
        }
        for other in ["crunluath", "taluth", "lo h", "grip"] {
            assert!(!nearly_has_words(other, title), "{other}");
        }
        assert!(has_words("Cèol", "ceol mor"));
    }

    /// What begins a terminal's command, turns text round or hides it is seen; letters of any
    /// script, joined emoji and ends of lines stay (Unicode Standard Annex 9, ECMA-48 for C1).
    #[test]
    fn what_a_terminal_would_obey_is_written_out() {
        assert_eq!(
            visible("Grip, Çà 練習 👩‍🎓\tx\r\n"),
            "Grip, Çà 練習 👩‍🎓\tx\r\n"
        );
        for (sign, seen) in [
            ('\u{1b}', r"\u{1b}"),
            ('\u{7}', r"\u{7}"),
            ('\r', r"\u{d}"),
            ('\u{7f}', r"\u{7f}"),
            ('\u{9b}', r"\u{9b}"),
            ('\u{202e}', r"\u{202e}"),
            ('\u{2066}', r"\u{2066}"),
            ('\u{200f}', r"\u{200f}"),
            ('\u{2028}', r"\u{2028}"),
            ('\u{e0041}', r"\u{e0041}"),
        ] {
            assert_eq!(visible(&format!("a{sign}b")), format!("a{seen}b"));
        }
    }

    #[test]
    fn a_capital_and_a_word_without_accents_are_the_same_word() {
        assert_eq!(capital("òran mòr"), "Òran mòr");
        assert_eq!(capital(""), "");
        for text in ["Òran mòr", "O\u{300}ran mo\u{300}r"] {
            assert_eq!(without_accents(text), "Oran mor");
        }
    }

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
