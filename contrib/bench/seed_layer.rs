//! The planner's seed layer against Richards' equation: the tables of
//! docs/seed-layer.md. `cargo bench --bench seed_layer`.

#[path = "../../tests/support/seed_layer.rs"]
mod seed_layer;
#[path = "../../tests/support/mod.rs"]
#[allow(clippy::unwrap_used, reason = "made for tests")]
mod support;

use seed_layer::{Case, SOAKS_MM, SPELLS, TABLES, TEXTURES};
use soakmist::agronomy::texture::label;
use soakmist::column::ClassTable;
use soakmist::site::TextureName;

struct Row {
    case: Case,
    columns: [([f64; SPELLS], f64); 2],
    former: [f64; SPELLS],
    now: [f64; SPELLS],
}

impl Row {
    fn of(case: Case) -> Self {
        Self {
            case,
            columns: TABLES.map(|table| seed_layer::column_hours(table, case)),
            former: seed_layer::former_hours(case),
            now: seed_layer::planner_hours(case),
        }
    }

    /// The column that is drier first, in a spell.
    fn drier(&self, spell: usize) -> f64 {
        self.columns[0].0[spell].min(self.columns[1].0[spell])
    }
}

fn main() {
    let rows: Vec<Row> = seed_layer::cases().into_iter().map(Row::of).collect();
    hours(&rows);
    println!("\nHow near, 108 cases a line\n");
    println!("| spell | against | model | within 25 % | latest | earliest | late by over 10 % |");
    println!("|---|---|---|---|---|---|---|");
    for spell in 0..SPELLS {
        nearness(&rows, spell);
    }
    other_layers();
    soak_buys();
    closed_loop();
}

fn hours(rows: &[Row]) {
    println!("Hours until a 10 mm layer is half dry, first spell\n");
    println!(
        "| texture | mm/h | soak mm | C&P 1988 | S&L 1998 | before | now | now/drier | seed C&P | seed S&L |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for row in rows {
        let Case {
            texture,
            demand_mm_per_h,
            soak_mm,
            ..
        } = row.case;
        let [(cp, cp_seed), (sl, sl_seed)] = row.columns;
        println!(
            "| {} | {demand_mm_per_h} | {soak_mm} | {:.1} | {:.1} | {:.1} | {:.1} | {:.2} | {cp_seed:.1} | {sl_seed:.1} |",
            label(texture),
            cp[0],
            sl[0],
            row.former[0],
            row.now[0],
            row.now[0] / row.drier(0),
        );
    }
}

fn nearness(rows: &[Row], spell: usize) {
    type Hours = fn(&Row, usize) -> f64;
    let references: [(&str, Hours); 3] = [
        ("drier of both", Row::drier),
        ("C&P 1988", |row, spell| row.columns[0].0[spell]),
        ("S&L 1998", |row, spell| row.columns[1].0[spell]),
    ];
    let models: [(&str, Hours); 2] = [
        ("before", |row, spell| row.former[spell]),
        ("now", |row, spell| row.now[spell]),
    ];
    for (against, reference) in references {
        for (model, hours) in models {
            let ratios: Vec<f64> = rows
                .iter()
                .map(|row| hours(row, spell) / reference(row, spell))
                .collect();
            println!(
                "| {} | {against} | {model} | {} | {:.2} | {:.2} | {} |",
                spell + 1,
                count(&ratios, |ratio| (0.75..=1.25).contains(&ratio)),
                ratios.iter().copied().fold(0.0, f64::max),
                ratios.iter().copied().fold(f64::INFINITY, f64::min),
                count(&ratios, |ratio| ratio > 1.1),
            );
        }
    }
}

fn count(ratios: &[f64], wanted: impl Fn(f64) -> bool) -> usize {
    ratios.iter().filter(|ratio| wanted(**ratio)).count()
}

/// Layers that the fit has not seen.
fn other_layers() {
    println!("\nOther layers, first spell, not fitted\n");
    println!("| layer mm | within 25 % | latest | earliest | late by over 10 % |");
    println!("|---|---|---|---|---|");
    for layer_mm in [6.0, 15.0] {
        let ratios: Vec<f64> = seed_layer::cases()
            .into_iter()
            .map(|case| {
                let row = Row::of(Case { layer_mm, ..case });
                row.now[0] / row.drier(0)
            })
            .collect();
        println!(
            "| {layer_mm} | {} | {:.2} | {:.2} | {} |",
            count(&ratios, |ratio| (0.75..=1.25).contains(&ratio)),
            ratios.iter().copied().fold(0.0, f64::max),
            ratios.iter().copied().fold(f64::INFINITY, f64::min),
            count(&ratios, |ratio| ratio > 1.1),
        );
    }
}

fn soak_buys() {
    println!("\nMisting needed in three days of 6 mm, the layer never over half dry by day\n");
    println!("| texture | table | soak mm | mistings | water mm | evaporated mm |");
    println!("|---|---|---|---|---|---|");
    for texture in [
        TextureName::SandyLoam,
        TextureName::Loam,
        TextureName::SiltLoam,
        TextureName::ClayLoam,
    ] {
        for table in TABLES {
            for soak_mm in [10.0, SOAKS_MM[0], SOAKS_MM[1], SOAKS_MM[2]] {
                let total = seed_layer::misted(table, of(texture, soak_mm), 3, false);
                println!(
                    "| {} | {} | {soak_mm} | {} | {:.1} | {:.1} |",
                    label(texture),
                    short(table),
                    total.mistings,
                    total.water_mm,
                    total.evaporated_mm
                );
            }
        }
    }
}

fn closed_loop() {
    println!("\nMisted by the planner's balance, three days of 6 mm after a soak of 150 mm\n");
    println!("| texture | table | mistings | water mm | layer dry | worst | seed dry |");
    println!("|---|---|---|---|---|---|---|");
    for texture in TEXTURES {
        for table in TABLES {
            let total = seed_layer::misted(table, of(texture, SOAKS_MM[2]), 3, true);
            println!(
                "| {} | {} | {} | {:.1} | {:.0} % | {:.2} | {:.0} % |",
                label(texture),
                short(table),
                total.mistings,
                total.water_mm,
                100.0 * total.layer_dry,
                total.worst,
                100.0 * total.seed_dry
            );
        }
    }
}

fn of(texture: TextureName, soak_mm: f64) -> Case {
    Case {
        texture,
        demand_mm_per_h: 0.0,
        soak_mm,
        layer_mm: seed_layer::LAYER_MM,
    }
}

fn short(table: ClassTable) -> &'static str {
    match table {
        ClassTable::CarselParrish1988 => "C&P",
        ClassTable::SchaapLeij1998 => "S&L",
    }
}
