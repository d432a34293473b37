//! What makes a password too easy to guess, after NIST SP 800-63B-4 (2025), 3.1.1.2: long enough, any characters, and
//! neither what everybody uses nor what is known of whoever uses it.

use std::collections::HashSet;
use std::sync::LazyLock;

use crate::Faults;

/// At least 15 characters where the password is the only factor.
const SHORTEST: usize = 15;
/// At least 64 must be allowed (the same section); beyond this hashing would only cost time.
const LONGEST: usize = 256;
/// Shorter pieces neither make a password nor save one: a year is short.
const SHORTEST_PIECE: usize = 5;

/// The 3,200 passwords of five characters and more that are used most, the most used first: the frequency list of
/// zxcvbn 3.1.0 (MIT), which was counted in published leaks.
const COMMON: &str = include_str!("common_passwords.txt");

static LISTED: LazyLock<HashSet<&str>> = LazyLock::new(|| COMMON.lines().collect());

/// What the service itself is called (SP 800-63B-4 names it among the words that are tried first).
const SERVICE: &str = "fillmark";

/// What is wrong with a password that somebody wants, who is known by these names and works at places of these names.
pub fn faults(password: &str, names: &[&str]) -> Faults {
    let mut faults = Faults::default();
    let length = password.chars().count();
    let fits = (SHORTEST..=LONGEST).contains(&length);
    faults.unless(fits, "/password", "bad_password", format!("expected {SHORTEST} to {LONGEST} characters"));
    if fits && is_easy(password, names) {
        let expected = "expected other than names and what many people use: a few words that do not belong together, \
                        for example";
        faults.add("/password", "easy_password", expected);
    }
    faults
}

/// Whether it is made of one or two pieces, however often repeated, that are tried first: passwords that many use,
/// names, runs of letters or digits. A few letters besides add nothing.
fn is_easy(password: &str, names: &[&str]) -> bool {
    let words = names.iter().flat_map(|name| name.split_whitespace().chain([*name]));
    let names: HashSet<String> = words.chain([SERVICE]).map(plain).filter(|name| !name.is_empty()).collect();
    let is_tried =
        |piece: &str| names.contains(piece) || !is_short(piece) && (is_run(piece) || LISTED.contains(piece));
    let is_left_easy = |rest: &str| {
        is_short(rest) || starts(rest).any(|piece| is_tried(piece) && rest.replace(piece, "").is_empty())
    };
    let text = plain(password);
    [unmasked(&text), text]
        .iter()
        .any(|text| starts(text).any(|piece| is_tried(piece) && is_left_easy(&text.replace(piece, ""))))
}

fn is_short(piece: &str) -> bool {
    piece.chars().count() < SHORTEST_PIECE
}

/// The first letter, the first two, and so on.
fn starts(text: &str) -> impl Iterator<Item = &str> {
    text.char_indices().map(|(at, letter)| &text[..at + letter.len_utf8()])
}

/// One letter over and over, or letters that follow each other in the alphabet or by their digits, up or down.
fn is_run(piece: &str) -> bool {
    let letters: Vec<i64> = piece.chars().map(|letter| i64::from(u32::from(letter))).collect();
    // After 9 comes 0 on a keyboard.
    [&[0][..], &[1, -9], &[-1, 9]]
        .iter()
        .any(|steps| letters.windows(2).all(|pair| steps.contains(&(pair[1] - pair[0]))))
}

/// In small letters, without what is put between words.
fn plain(text: &str) -> String {
    text.to_lowercase().chars().filter(|letter| letter.is_alphanumeric() || "@$!".contains(*letter)).collect()
}

/// With the letters that look-alikes stand for.
fn unmasked(text: &str) -> String {
    let letter = |letter| match letter {
        '@' | '4' => 'a',
        '3' => 'e',
        '1' | '!' => 'i',
        '0' => 'o',
        '$' | '5' => 's',
        other => other,
    };
    text.chars().map(letter).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(password: &str, code: Option<&str>) {
        let faults = faults(password, &["Ada Brook", "ada", "Harbour"]);
        assert_eq!(faults.iter().next().map(|fault| fault.code), code, "{password}");
    }

    #[test]
    fn fifteen_characters_of_any_kind_are_enough() {
        check("fourteen chars", Some("bad_password"));
        check("fifteen chars !", None);
        check("ünïcödé ☂ pässwörd", None);
        check(&"kettle violin moon ".repeat(13), None);
        check(&"x y".repeat(86), Some("bad_password"));
    }

    #[test]
    fn what_everybody_tries_is_refused_however_it_is_dressed_up() {
        for easy in [
            "passwordpassword",
            "Password-Password!",
            "p@ssw0rdp@ssw0rd",
            "passwordpassword123",
            "qwertyuiop123456789",
            "iloveyou iloveyou",
            "aaaaaaaaaaaaaaa",
            "123456789012345",
            "987654321098765",
            "abcdefghijklmnop",
            "dragon dragon dragon",
        ] {
            check(easy, Some("easy_password"));
        }
    }

    #[test]
    fn ones_own_names_are_no_secret() {
        check("harbourharbour2026", Some("easy_password"));
        check("Ada Brook Ada Brook", Some("easy_password"));
        check("ada ada ada ada ada", Some("easy_password"));
    }

    #[test]
    fn words_that_do_not_belong_together_are_taken() {
        check("correct horse battery staple", None);
        check("a long enough password", None);
        check("basil under the moon", None);
        check("harbour kettle violin", None);
    }

    #[test]
    fn the_list_is_as_long_as_asvs_wants_it() {
        // OWASP ASVS 5.0.0, 6.2.4: at least the top 3000.
        assert!(LISTED.len() >= 3000);
    }
}
