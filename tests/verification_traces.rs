//! Traces as loggers write them: what is understood, repaired and refused.

use coldkick::design::Design;
use coldkick::discharge::{self, Settings};
use coldkick::study::diagnosis::{Channel, Observable, Run, Sensor};
use coldkick::trace::{Place, Quantity, ReadOptions, Reference, Trace, TraceError, read, reduce};

fn options() -> ReadOptions {
    ReadOptions {
        places: vec![
            Place {
                vessel: "cartridge".to_owned(),
                also: &["bottle"],
            },
            Place {
                vessel: "bay".to_owned(),
                also: &["plenum"],
            },
        ],
        usual: Some(1),
        reference: None,
        surroundings: 99e3,
        assignments: Vec::new(),
    }
}

fn gauge() -> ReadOptions {
    ReadOptions {
        reference: Some(Reference::Gauge),
        ..options()
    }
}

fn understand(text: &str, options: &ReadOptions) -> Trace {
    read("t.csv", text.as_bytes(), options).unwrap()
}

fn refuse(text: &str, options: &ReadOptions) -> TraceError {
    read("t.csv", text.as_bytes(), options).unwrap_err()
}

/// Twenty rows of a rise, each formatted from its number.
fn rows(row: impl Fn(usize) -> String) -> String {
    (0..20).map(row).collect::<Vec<_>>().join("\n")
}

/// The same ten milliseconds and pascals, however they are written.
#[test]
fn one_trace_in_many_hands() {
    let plain = rows(|i| format!("{i},{}", i * 10));
    let spellings = [
        format!("t [ms],p_bay (kPa)\n{plain}"),
        format!(
            "\u{feff}t [ms],p_bay (kPa)\r\n{}",
            plain.replace('\n', "\r\n")
        ),
        format!("Time/ms;bay kPa\n{}", plain.replace(',', ";")),
        format!("time_ms\tbay_kPa\n{}", plain.replace(',', "\t")),
        format!("# a logger\n\nLogger 3, serial 7\nTime,Bay\nms,kPa\n{plain}\n\n"),
        format!(
            "t [s];bay [bar]\n{}",
            rows(|i| format!("0,{i:03};{},{}", i / 10, i % 10))
        ),
        format!(
            "t [s], plenum pressure [Pa]\n{}",
            rows(|i| format!("{}e-3, {}e3", i, i * 10))
        ),
        format!(
            "t [us],bay [mbar],\n{}",
            rows(|i| format!("{},{},", i * 1000, i * 100))
        ),
        format!("t[ms]  bay[kPa]\n{}", plain.replace(',', "   ")),
        format!(
            "\"t [ms]\",\"bay, total [kPa]\"\n{}",
            rows(|i| format!("\"{i}\",\"{}\"", i * 10))
        ),
        format!(
            "t [ms],accel [g],bay [kPa]\n{}",
            rows(|i| format!("{i},1.0,{}", i * 10))
        ),
    ];
    for text in spellings {
        let trace = understand(&text, &gauge());
        let column = &trace.columns[0];
        assert_eq!(
            column.quantity,
            Quantity::Pressure {
                vessel: 1,
                gauge: true
            },
            "{text}"
        );
        assert_eq!(column.times.len(), 20, "{text}");
        assert!((column.times[7] - 7e-3).abs() < 1e-12, "{text}");
        assert!((column.values[7] - 70e3).abs() < 1e-6, "{text}");
    }
}

#[test]
fn several_channels_and_their_references() {
    let text = format!(
        "t [ms],bay [psig],bottle [bar abs],travel [mm],break wire [V],trigger\n{}",
        rows(|i| format!(
            "{i},{i},{},{},{},{}",
            50 - i,
            i.saturating_sub(10),
            if i < 12 { 4.9 } else { 0.1 },
            u8::from(i >= 3)
        ))
    );
    let trace = understand(&text, &options());
    let quantities: Vec<Quantity> = trace.columns.iter().map(|c| c.quantity).collect();
    assert_eq!(
        quantities,
        [
            Quantity::Pressure {
                vessel: 1,
                gauge: true
            },
            Quantity::Pressure {
                vessel: 0,
                gauge: false
            },
            Quantity::Travel,
            Quantity::BreakWire,
        ]
    );
    // 1 lbf/in2 is 6894.757 Pa (international pound, standard gravity).
    assert!((trace.columns[0].values[1] - 6894.757).abs() < 0.01);
    assert!((trace.trigger.unwrap() - 3e-3).abs() < 1e-12);
    let wire = &trace.columns[3];
    assert_eq!(wire.values[11], 1.0);
    assert_eq!(wire.values[12], 0.0);
}

#[test]
fn gauge_or_absolute_is_asked() {
    let text = format!("t [ms],bay [kPa]\n{}", rows(|i| format!("{i},{i}")));
    let error = refuse(&text, &options());
    assert!(matches!(error, TraceError::Reference { .. }), "{error}");
    assert!(error.to_string().contains("--gauge"), "{error}");
    let below = format!("t [ms],bay [kPa abs]\n{}", rows(|i| format!("{i},-{i}")));
    assert!(matches!(
        refuse(&below, &options()),
        TraceError::BelowVacuum { .. }
    ));
}

#[test]
fn repairs_are_stated() {
    // A missing value, a doubled time, a glitch of the clock, a line cut short by the end.
    let mut lines: Vec<String> = (0..400).map(|i| format!("{i},{}", i * 2)).collect();
    lines[50] = "50,NaN".to_owned();
    lines[60] = "60,".to_owned();
    lines[100] = "99,200".to_owned();
    lines[200] = "3,400".to_owned();
    lines[399] = "39".to_owned();
    let trace = understand(&format!("t [ms],bay [kPa]\n{}", lines.join("\n")), &gauge());
    let told = trace.repairs.join("\n");
    assert!(told.contains("2 missing values"), "{told}");
    assert!(told.contains("same time"), "{told}");
    assert!(
        told.contains("runs back") && told.contains("line 202"),
        "{told}"
    );
    assert!(told.contains("the last of the file"), "{told}");
    assert_eq!(trace.columns[0].values.len(), 395);
}

/// One broken row among many is left out wherever it stands, the first one too.
#[test]
fn a_broken_first_row_is_left_out() {
    let row = |i: usize| format!("{i}.0,{i}.5");
    let mut lines: Vec<String> = (0..400).map(row).collect();
    lines[0].push_str(",7,8");
    let trace = understand(&format!("t [ms],bay [kPa]\n{}", lines.join("\n")), &gauge());
    let told = trace.repairs.join("\n");
    assert!(told.contains("4 fields at line 2"), "{told}");
    assert_eq!(trace.columns[0].values.len(), 399);
}

/// Quotes keep decimal commas apart from the commas that separate.
#[test]
fn quoted_decimal_commas_are_read() {
    let quoted = rows(|i| format!("\"{i},5\",\"{i},25\""));
    let plain = rows(|i| format!("{i}.5,{i}.25"));
    let read = |text: &str| understand(&format!("t [ms],bay [kPa]\n{text}"), &gauge());
    let (quoted, plain) = (read(&quoted), read(&plain));
    assert_eq!(quoted.columns, plain.columns);
    assert!(quoted.understood[0].contains("separated by commas, decimal comma"));
}

/// Notes, states and dates beside the numbers are left out, and a first row may miss a value as any other may.
#[test]
fn text_beside_numbers_is_left_out() {
    let plain = rows(|k| format!("{},{}", k as f64 * 1e-3, 10 + k));
    let expected = understand(&format!("t [s],bay [kPa gauge]\n{plain}"), &options());
    let noted = rows(|k| {
        format!(
            "{},{},{}",
            k as f64 * 1e-3,
            10 + k,
            ["ARMED", "FIRE"][k % 2]
        )
    });
    let dated = rows(|k| format!("2026-05-01 12:00:00,{},{}", k as f64 * 1e-3, 10 + k));
    for (heading, text, column) in [
        ("t [s],bay [kPa gauge],state", noted, "state"),
        ("date,t [s],bay [kPa gauge]", dated, "date"),
    ] {
        let trace = understand(&format!("{heading}\n{text}"), &options());
        assert_eq!(trace.columns[0].values, expected.columns[0].values);
        assert_eq!(trace.columns[0].times, expected.columns[0].times);
        let said = format!("text in column `{column}` left out");
        assert!(trace.repairs.contains(&said), "{:?}", trace.repairs);
    }
    let first = plain.replacen("0,10", "0,", 1);
    let trace = understand(&format!("t [s],bay [kPa gauge]\n{first}"), &options());
    assert_eq!(trace.columns[0].values, expected.columns[0].values[1..]);
}

#[test]
fn what_cannot_be_repaired_names_its_line() {
    let start = "t [ms],bay [kPa]\n";
    let ragged = format!("{start}{}\n1,2,3\n", rows(|i| format!("{i},{i}")));
    // The broken line is the last here, which power cuts excuse: put one in the middle.
    let middle = ragged.replace("7,7\n", "7,7,7\n");
    let error = refuse(&middle, &gauge()).to_string();
    assert!(
        error.contains("line 9") && error.contains("3 fields"),
        "{error}"
    );
    let text = format!("{start}{}", rows(|i| format!("{i},{i}"))).replace("5,5\n", "5,oops\n");
    let error = refuse(&text, &gauge()).to_string();
    assert!(
        error.contains("line 7") && error.contains("`oops`"),
        "{error}"
    );
    let twice = format!("{start}{0}\n{0}", rows(|i| format!("{i},{i}")));
    let error = refuse(&twice, &gauge()).to_string();
    assert!(
        error.contains("line 22") && error.contains("runs back"),
        "{error}"
    );
    let commas = format!("{start}{}", rows(|i| format!("{i},0,{i},5")));
    let error = refuse(&commas, &gauge()).to_string();
    assert!(error.contains("semicolons"), "{error}");
    // With decimal points there is nothing to take for decimal commas.
    let ragged = rows(|i| match i % 10 {
        0 => format!("{i}.0,{i}.5,7,8"),
        _ => format!("{i}.0,{i}.5"),
    });
    let error = refuse(&format!("{start}{ragged}"), &gauge()).to_string();
    assert!(
        error.contains("line 2: 4 fields where 2 are expected"),
        "{error}"
    );
    assert!(matches!(refuse("", &gauge()), TraceError::Empty { .. }));
    assert!(matches!(
        refuse("hello\nworld\n", &gauge()),
        TraceError::NoData { .. }
    ));
    assert!(matches!(
        refuse("t,p\n1\0,2", &gauge()),
        TraceError::Binary { .. }
    ));
    let unnamed = refuse(&rows(|i| format!("{i},{i}")), &gauge()).to_string();
    assert!(unnamed.contains("--column"), "{unnamed}");
    let unitless = format!("t,bay [kPa]\n{}", rows(|i| format!("{i},{i}")));
    let error = refuse(&unitless, &gauge()).to_string();
    assert!(error.contains("no unit of time"), "{error}");
    let short = refuse("t [ms],bay [kPa]\n1,2\n2,3\n", &gauge());
    assert!(matches!(short, TraceError::TooFew { .. }), "{short}");
}

#[test]
fn columns_can_be_told() {
    let told = ReadOptions {
        assignments: vec![
            "1=time,us".parse().unwrap(),
            "2=cartridge,bar,absolute".parse().unwrap(),
        ],
        ..options()
    };
    let trace = understand(&rows(|i| format!("{},{}", i * 10, 50 - i)), &told);
    assert!((trace.columns[0].times[2] - 20e-6).abs() < 1e-15);
    assert!((trace.columns[0].values[2] - 48e5).abs() < 1e-6);
    assert!(
        "p=bay,furlong"
            .parse::<coldkick::trace::Assignment>()
            .is_err()
    );
}

/// Noise one wide, of equal chance, the same each time (a linear congruential generator; its factor is from memory Knuth's, The
/// Art of Computer Programming 2).
fn noise() -> impl FnMut() -> f64 {
    let mut state = 1_u64;
    move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        (state >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
    }
}

/// A pulse at a given rate with noise, a spike, a dropout and, if asked, an end stop.
fn pulse(rate: f64, stop: f64) -> Trace {
    let count = (2.0 * rate) as usize;
    let mut noise = noise();
    let mut text = String::from("t [s],bay [kPa]\n");
    for i in 0..count {
        let t = i as f64 / rate;
        let p = 300.0 * (-((t - 0.4) / 0.02).powi(2)).exp() + 50.0 * (t / 2.0) + noise();
        let p = match i {
            i if i == count / 2 => 900.0,
            i if i == count / 3 => 0.0,
            _ => p.min(stop),
        };
        text += &format!("{t:.6},{p:.3}\n");
    }
    understand(&text, &gauge())
}

fn reduced(trace: &Trace) -> (Channel, String) {
    let (channel, notes) = reduce(&trace.columns[0], (0.0, 2.0), 300);
    (channel.unwrap(), notes.join("\n"))
}

#[test]
fn reduction_keeps_the_peak_and_the_noise() {
    for rate in [50.0, 500.0, 5_000.0, 50_000.0] {
        let (channel, notes) = reduced(&pulse(rate, f64::INFINITY));
        assert!(
            channel.values.len() <= 310,
            "{rate}: {}",
            channel.values.len()
        );
        // The pulse tops out at 310 kPa; its highest sample lies lower where sampling is coarse.
        let offset = ((0.4 * rate).round() / rate - 0.4).abs();
        let top = 300.0 * (-(offset / 0.02).powi(2)).exp() + 10.0;
        let kept = channel
            .times
            .iter()
            .zip(&channel.values)
            .filter(|(t, _)| (**t - 0.4).abs() < 0.1)
            .map(|(_, v)| v / 1e3)
            .fold(0.0, f64::max);
        assert!((kept - top).abs() < 3.0, "{rate}: {kept} against {top}");
        if rate > 100.0 {
            // Uniform noise one wide has a deviation of 0.2887.
            let noise = channel.noise / 1e3;
            assert!((0.2..0.4).contains(&noise), "{rate}: {noise}");
            assert!(notes.contains("spikes"), "{rate}: {notes}");
            assert!(channel.values.iter().all(|v| *v < 320e3), "{rate}");
            let onset = channel.onset.unwrap();
            assert!((0.33..0.39).contains(&onset), "{rate}: {onset}");
        }
    }
}

/// Two thousand samples a second of a bay that fills to 30 kPa and is emptied within a sample at 0.6 s, with noise a
/// hundredth as large; `damage` acts on each sample.
fn shot_at_2_khz(damage: impl Fn(usize, f64) -> f64) -> Trace {
    let mut noise = noise();
    let mut text = String::from("t [s],bay [kPa]\n");
    for i in 0..2000 {
        let p = match i {
            0..200 => 0.0,
            200..1200 => 30.0 * (1.0 - (-(i as f64 - 200.0) / 100.0).exp()),
            _ => 0.0,
        };
        text += &format!("{:.4},{:.3}\n", i as f64 / 2e3, damage(i, p + noise()));
    }
    understand(&text, &gauge())
}

/// A sensor that loses contact shows its zero without noise and then goes on as before, also while the pressure
/// rises; that is left out and said. What a nose that leaves does is not, nor a second charge soon after.
#[test]
fn a_sensor_that_loses_contact_is_no_separation() {
    for first in [250, 700, 1100] {
        let lost = first..first + 15;
        let trace = shot_at_2_khz(|i, p| if lost.contains(&i) { 0.0 } else { p });
        let (channel, notes) = reduced(&trace);
        assert!(notes.contains("15 samples"), "{first}: {notes}");
        assert!(notes.contains("loses contact"), "{first}: {notes}");
        assert_eq!(channel.samples, 1985, "{first}");
        let (from, to) = (first as f64 / 2e3 - 0.02, first as f64 / 2e3 + 0.03);
        for (time, value) in channel.times.iter().zip(&channel.values) {
            let low = 30e3 * (1.0 - (-(time - 0.1) / 0.05).exp()) - 3e3;
            let near = (from..to).contains(time);
            assert!(!near || *value > low, "{first}: {value} at {time}");
        }
    }
    let whole = reduced(&shot_at_2_khz(|_, p| p));
    assert_eq!(whole.0.samples, 2000, "{}", whole.1);
    // Shut again and filled within 2 ms.
    let second = |i: usize, p: f64| match i {
        1230..1234 => p + 6.0 * (i as f64 - 1229.0),
        1234.. => p + 28.0,
        _ => p,
    };
    let again = reduced(&shot_at_2_khz(second));
    assert_eq!(again.0.samples, 2000, "{}", again.1);
}

/// The mean of values on both sides of missing ones is compared with no mean of a model over the time between.
#[test]
fn no_value_reaches_over_missing_samples() {
    let text: String = (0..2000)
        .filter(|i| !(1100..1300).contains(i))
        .map(|i| {
            format!(
                "{:.4},{}\n",
                f64::from(i) / 2e3,
                if i < 1200 {
                    30.0
                } else {
                    0.1 * f64::from(i % 3)
                }
            )
        })
        .collect();
    let trace = understand(&format!("t [s],bay [kPa]\n{text}"), &gauge());
    let (channel, _) = reduce(&trace.columns[0], (0.0, 1.0), 30);
    let channel = channel.unwrap();
    let over = |(first, last, _): &(f64, f64, usize)| *first < 0.6 && *last > 0.6;
    assert!(!channel.spans.iter().any(over), "{:?}", channel.spans);
    assert!(
        channel.values.iter().all(|v| *v < 300.0 || *v > 29e3),
        "{:?}",
        channel.values
    );
    let gaps = (0..channel.values.len())
        .filter(|i| channel.gap_after(*i))
        .count();
    assert_eq!(gaps, 1);
}

/// A logger that goes on at a hundredth of its rate misses nothing.
#[test]
fn a_slower_rate_is_no_gap() {
    let text: String = (0..1000)
        .map(|i| match i {
            0..600 => f64::from(i) / 2e3,
            _ => 0.3 + f64::from(i - 600) / 20.0,
        })
        .map(|t| format!("{t:.4},{:.3}\n", 5.0 + (10.0 * t).sin()))
        .collect();
    let trace = understand(&format!("t [s],bay [kPa]\n{text}"), &gauge());
    let (channel, _) = reduce(&trace.columns[0], (0.0, 30.0), 100);
    let values = channel.unwrap().values.len();
    assert!(values <= 110, "{values}");
}

#[test]
fn an_end_stop_is_marked() {
    let (channel, notes) = reduced(&pulse(5_000.0, 200.0));
    assert!(notes.contains("end stop"), "{notes}");
    let stopped = channel.saturated.iter().filter(|s| **s).count();
    assert!(stopped > 3, "{stopped}");
    let (free, _) = reduced(&pulse(5_000.0, f64::INFINITY));
    assert!(free.saturated.iter().all(|s| !s));
}

/// Ten million rows at 50 kHz, 200 s of which the shot is a quarter of a second: read and reduced in
/// seconds, with less memory than five numbers of each row would take beside the text itself.
#[test]
#[ignore = "writes 170 MB and takes some 10 s: cargo nextest run --run-ignored only ten_million"]
fn ten_million_rows_are_read_in_seconds() {
    use std::io::Write;
    use std::time::Instant;
    const ROWS: usize = 10_000_000;
    let mut file = std::io::BufWriter::new(tempfile::tempfile().unwrap());
    writeln!(file, "t [s],bay [kPa gauge]").unwrap();
    let signal = |t: f64| match t {
        t if t < 0.004 => 0.0,
        t if t < 0.03 => 80.0 * (1.0 - (-(t - 0.004) / 0.008).exp()),
        t => 80.0 * (-(t - 0.03) / 0.02).exp(),
    };
    for row in 0..ROWS {
        let time = row as f64 / 50e3 - 50.0;
        let noise = 0.4 * ((row * 7919 % 1000) as f64 / 500.0 - 1.0);
        writeln!(file, "{time:.6},{:.3}", signal(time) + noise).unwrap();
    }
    let mut file = file.into_inner().unwrap();
    let mut bytes = Vec::new();
    std::io::Seek::rewind(&mut file).unwrap();
    std::io::Read::read_to_end(&mut file, &mut bytes).unwrap();
    let size = bytes.len();
    let started = Instant::now();
    let trace = read("big.csv", bytes, &options()).unwrap();
    let (channel, _) = reduce(&trace.columns[0], (-0.1, 0.4), 300);
    let taken = started.elapsed().as_secs_f64();
    let channel = channel.unwrap();
    assert_eq!(trace.columns[0].values.len(), ROWS);
    assert_eq!(channel.samples, 25_001);
    assert!((100..=600).contains(&channel.values.len()));
    let peak = channel.values.iter().copied().fold(0.0, f64::max);
    // The signal jumps to 80 kPa; the noise of a mean is far smaller.
    assert!((peak / 80e3 - 1.0).abs() < 0.03, "{peak}");
    println!("{size} bytes in {taken:.2} s");
    assert!(taken < 20.0, "{taken} s");
    // The text, and 56 bytes a row at the most.
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        let line = status.lines().find(|line| line.starts_with("VmHWM:"));
        let kib = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<usize>().ok());
        let most = size + 56 * ROWS;
        println!("peak memory {kib:?} KiB");
        assert!(kib.is_none_or(|kib| kib * 1024 < most), "{kib:?} KiB");
    }
}

/// The curve of a run has the times of the run, not those of a record that may be coarse where it moves: between its
/// points it is the run, and it ends where the record does.
#[test]
fn a_curve_follows_its_run_between_the_points_of_a_record() {
    let path = "fixtures/designs/dunlin-bench.ron";
    let text = std::fs::read_to_string(path).unwrap();
    let design = Design::parse(path, &text).unwrap();
    let (system, _) = design.system(&design.central()).unwrap();
    let bay = system.nose.as_ref().unwrap().1;
    let run = Run::new(
        &system,
        discharge::run(&system, &Settings::default()).unwrap(),
    );
    let times: Vec<f64> = (0..8).map(|i| 0.99 + 0.02 * f64::from(i)).collect();
    let channel = Channel {
        observable: Observable::Pressure {
            vessel: bay,
            gauge: false,
        },
        label: "bay".to_owned(),
        spans: times.iter().map(|t| (*t, *t, 1)).collect(),
        values: vec![0.0; times.len()],
        deviations: vec![1.0; times.len()],
        saturated: vec![false; times.len()],
        noise: 1.0,
        samples: times.len(),
        range: 1.0,
        onset: None,
        interval: 0.02,
        times: times.clone(),
    };
    // The clock of the trace shows one second when the run starts.
    let perfect = Sensor::perfect(1.0);
    let curve = run.curve(&channel, 1.0);
    let ends = (curve[0].0, curve[curve.len() - 1].0);
    assert_eq!(ends, (times[0], times[times.len() - 1]));
    let readings = run.readings(&channel, &perfect);
    let coarse: Vec<(f64, f64)> = times.iter().copied().zip(readings).collect();

    let between: Vec<f64> = (1..1400).map(|i| 0.99 + 1e-4 * f64::from(i)).collect();
    let truth = run.observe(channel.observable, &between, &perfect);
    let rise = truth.iter().fold(0.0_f64, |most, p| most.max(*p)) - truth[0];
    let miss = |line: &[(f64, f64)]| {
        let errors = between.iter().zip(&truth).map(|(t, p)| {
            let next = line
                .partition_point(|(time, _)| time <= t)
                .min(line.len() - 1);
            let ((t0, p0), (t1, p1)) = (line[next - 1], line[next]);
            (p0 + (p1 - p0) * (t - t0) / (t1 - t0) - p).abs() / rise
        });
        errors.fold(0.0, f64::max)
    };
    let (own, of_the_record) = (miss(&curve), miss(&coarse));
    assert!(own < 1e-9, "{own}");
    assert!(
        of_the_record > 0.1,
        "the record is not coarse: {of_the_record}"
    );
}
