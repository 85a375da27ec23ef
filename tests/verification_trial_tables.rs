//! Tables of trials as text and in columns: what is read back is what was written, to the last bit, and anything
//! else is refused.

#[path = "common/linear.rs"]
mod linear;

use std::fs::File;
use std::io::Write;

use coldkick::report::trial_table::{
    TrialTable, TrialTableError, TrialTableHeader, slice_range, write_columnar,
};
use coldkick::statistics::SamplingMethod;
use coldkick::study::{Campaign, CriterionKind, Record, TrialVerdict};
use linear::{COMMON_LOAD, PLAIN, StrengthAgainstLoad, inputs, records};

/// A table in a file without a name.
fn file(content: &[u8]) -> File {
    let mut file = tempfile::tempfile().unwrap();
    file.write_all(content).unwrap();
    file
}

fn columnar(header: &TrialTableHeader, trials: &[Record]) -> File {
    let file = tempfile::tempfile().unwrap();
    let trials = trials.iter().cloned().map(Ok);
    write_columnar(header, trials, &file).unwrap();
    file
}

fn header(campaign: &Campaign, slice: (u64, u64)) -> TrialTableHeader {
    let (layout, version) = TrialTableHeader::current();
    TrialTableHeader {
        layout,
        version,
        design: "R - S".to_owned(),
        fingerprint: "0".to_owned(),
        seed: campaign.seed(),
        sampler: campaign.sampler().unwrap().method(),
        trials: campaign.trials(),
        replicates: campaign.sampler().unwrap().replicates(),
        slice,
        criteria: vec![CriterionKind::TetherRating.name()],
        inputs: campaign.inputs().names().to_vec(),
    }
}

/// Slices written to tables and read back are the campaign, bit for bit, errors included; a table of
/// anything else is refused.
#[test]
fn tables_of_slices_are_the_campaign() {
    let refusing = StrengthAgainstLoad {
        refuse: |strength| strength > 230.0,
    };
    let campaign = Campaign::new(inputs(COMMON_LOAD), SamplingMethod::Sobol, 9, 1000).unwrap();
    let whole = records(&campaign, &refusing, 0..1000);
    let mut read = Vec::new();
    for number in 1..=7 {
        let header = header(&campaign, (number, 7));
        assert_eq!(header.range(), slice_range(1000, number, 7));
        let slice = records(&campaign, &refusing, header.range());
        let text = header.lines().unwrap() + &header.rows(&slice).unwrap();
        let table = TrialTable::open(match number % 2 {
            0 => columnar(&header, &slice),
            _ => file(text.as_bytes()),
        });
        let table = table.unwrap();
        assert_eq!(*table.header(), header);
        assert!(header.same_campaign(&self::header(&campaign, (1, 1))));
        read.extend(table.map(|record| record.unwrap()));
    }
    assert_eq!(read, whole);

    let lines = header(&campaign, (1, 1)).lines().unwrap();
    let good = lines.clone() + &header(&campaign, (1, 1)).rows(&whole[..3]).unwrap();
    for (text, words) in [
        (String::new(), "first line"),
        ("time,pressure\n0,1\n".to_owned(), "first line"),
        (lines.replacen("\"layout\":1", "\"layout\":9", 1), "version"),
        (
            lines.replacen("\"slice\":[1,1]", "\"slice\":[2,1]", 1),
            "slice",
        ),
        (lines.replacen(",error", "", 1), "columns"),
    ] {
        let error = TrialTable::open(file(text.as_bytes())).err().unwrap();
        let error = error.to_string();
        assert!(error.contains(words), "{error}");
    }
    for (from, to, words) in [
        ("success", "succcess", "line 3"),
        ("\n1,", "\none,", "line 4"),
    ] {
        let text = good.replacen(from, to, 1);
        let error = TrialTable::open(file(text.as_bytes()))
            .unwrap()
            .find_map(Result::err)
            .unwrap()
            .to_string();
        assert!(error.contains(words), "{error}");
    }
}

/// More trials than one group of rows holds, of every verdict, with numbers that are not finite and words of other
/// scripts among them.
#[test]
fn columns_hold_what_text_holds() {
    let refusing = StrengthAgainstLoad {
        refuse: |strength| strength > 230.0,
    };
    let campaign = Campaign::new(inputs(COMMON_LOAD), SamplingMethod::Plain, 4, 40_000).unwrap();
    let mut whole = records(&campaign, &refusing, 0..40_000);
    whole[7].quantities = [None; 6];
    whole[8].quantities[2] = Some(f64::INFINITY);
    whole[9].quantities[0] = Some(-0.0);
    let odd = whole.iter_mut().find(|trial| !trial.error.is_empty());
    odd.unwrap().error = "vessel \u{201e}Flasche\u{201c},\nat 3 s".to_owned();
    let verdicts = [
        TrialVerdict::Success,
        TrialVerdict::Failure(0),
        TrialVerdict::NotComputed,
    ];
    for verdict in verdicts {
        assert!(whole.iter().any(|trial| trial.verdict == verdict));
    }
    let header = header(&campaign, (1, 1));
    let text = header.lines().unwrap() + &header.rows(&whole).unwrap();
    for file in [columnar(&header, &whole), file(text.as_bytes())] {
        let table = TrialTable::open(file).unwrap();
        let read: Vec<Record> = table.map(Result::unwrap).collect();
        assert!(read[9].quantities[0].unwrap().is_sign_negative());
        assert_eq!(read, whole);
    }
    let nothing = TrialTable::open(columnar(&header, &[])).unwrap();
    assert_eq!(nothing.count(), 0);
}

/// Files of columns that are damaged, or hold something else, are refused in words; none of them is a panic.
#[test]
fn broken_columns_are_refused() {
    use std::io::{Read, Seek, SeekFrom};
    let campaign = Campaign::new(inputs(COMMON_LOAD), SamplingMethod::Plain, 4, 50).unwrap();
    let trials = records(&campaign, &PLAIN, 0..50);
    let good = header(&campaign, (1, 1));
    let mut bytes = Vec::new();
    let mut written = columnar(&good, &trials);
    written.seek(SeekFrom::Start(0)).unwrap();
    written.read_to_end(&mut bytes).unwrap();
    let read = |bytes: &[u8]| -> Result<Vec<Record>, TrialTableError> {
        TrialTable::open(file(bytes))?.collect()
    };
    assert_eq!(read(&bytes).unwrap(), trials);

    for length in [4, 7, 8, 12, 100, bytes.len() / 2, bytes.len() - 1] {
        let error = read(&bytes[..length]).unwrap_err();
        assert!(error.to_string().contains("columns"), "{length}: {error}");
    }
    for (from, to, words) in [
        ("\"layout\":1", "\"layout\":9", "version"),
        ("\"slice\":[1,1]", "\"slice\":[2,1]", "slice"),
        ("coldkick.trials", "coldkick.thrill", "metadata"),
        ("exit_speed_m_s", "exit_speed_f_s", "exit_speed_m_s"),
    ] {
        let error = read(&replaced(&bytes, from, to)).unwrap_err().to_string();
        assert!(error.contains(words), "{error}");
    }
    let error = read(&replaced(&bytes, "success", "succcss")).unwrap_err();
    assert!(error.to_string().contains("checksum"), "{error}");
    let mut refused = 0;
    for place in 0..bytes.len() {
        for bit in 0..8 {
            let mut damaged = bytes.clone();
            damaged[place] ^= 1 << bit;
            match read(&damaged) {
                Err(_) => refused += 1,
                // Of the metadata much matters to nobody here: who wrote the file, say.
                Ok(read) => assert_eq!(read, trials, "bit {bit} of byte {place}"),
            }
        }
    }
    assert!(refused > bytes.len() * 8 / 2, "{refused}");
}

/// Some bytes with all places where some words stand changed to others of the same length.
fn replaced(bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
    assert_eq!(from.len(), to.len());
    let mut bytes = bytes.to_vec();
    let mut place = 0;
    while place + from.len() <= bytes.len() {
        if bytes[place..].starts_with(from.as_bytes()) {
            bytes[place..place + to.len()].copy_from_slice(to.as_bytes());
        }
        place += 1;
    }
    bytes
}
