package calc_test

// The words of docs/agreement.md around its tables. Read them again whenever
// the tables change.

const agreementHead = `# How often calculated TPO agrees with a direct reading within 5 ppb

Five parts per billion between the two is a criterion of common practice. A simulation shows where it can be met, for the formats, levels and ways to the headspace of a small brewery. ` + "`go test ./core/calc -run TestAgreement -update`" + ` makes this page, and the same test without -update fails when page and simulation differ: %d packages a cell, seed %d.

True packages are drawn from the spreads below, read with the errors below, and computed by the program's own table of calculations. The truth follows the plain formula, so only errors of reading and of volumes count; [method.md](method.md), section 7, adds the beer's own effects and a better meter, and the last table here says how large those effects are.

Errors of one reading, as standard deviations (common practice or assumed; use your own): DO meter, the larger of 1 ppb and 2 %%; shaking, 1 %% of the reading; package temperature 0.2 K; scale 0.05 g (kegs 5 g) and 0.01 %% of every weight in common; gravity 0.0002; fill height 0.3 mL; a capacity by water 0.2 mL (kegs 20 mL); K 0.2 %%. A lot's tare is the mean of ten packages, its capacity the mean of five. The direct reading has the larger of 1 ppb and 2 %% too (common practice), or is taken as perfect.

The formats are those of the invented Ostrelweir Brewhouse. Bottles are filled to a level, so their spread is that of the headspace, and heavy glass holds less (correlation −0.6); 4 in 1,000 cans are 6 to 15 mL short.

`

const agreementReach = `
The highest TPO, in steps of 10 ppb, up to which 95 % of the differences lie within 5 ppb; – where not even 10 ppb does.

**Reached:** shaken and read cold (4 °C), against a real direct reading: weighed cans to 30–40 ppb with lot values, to 50–70 with their own tare and capacity; bottles by fill height, or with their own tare and capacity, to 50–70; kegs with their own tare and capacity to 70. At 20 °C only small headspaces do as well: the 500 mL bottle by fill height or its own weights (50) and the keg with its own (60–70); a 440 or 473 mL can with its own gets to 20–40.

**Not reached:** at 20 °C, against a real direct reading, no way brings a 355 mL can or a 330 or 355 mL bottle there, at any level: the meter's 1 ppb is 2.4–2.5 ppb of TPO in them. A bottle weighed against a lot's tare reaches 10 ppb at best, an assumed fill 30. Above 110 ppb nothing reaches it, even against a perfect direct reading.

## What limits it

95 % within 5 ppb needs a standard deviation of 2.55 ppb, all errors together. At 60 ppb and 20 °C it is made of, in ppb:

`

const agreementLimits = `
- At low levels the meter's 1 ppb limits, because the headspace multiplies it: by 2.5 for the can at 20 °C, by 2.1 at 4 °C, by 1.6 for the keg. So read cold; a meter good to 0.5 ppb buys more than any weighing.
- With an assumed fill, and in bottles wherever a lot value of glass enters, the volumes limit.
- At high levels everything grows in proportion. The meter's 2 % and 1 % of shaking alone use up the 2.55 ppb at 114 ppb, with the direct reading's 2 % at 85 ppb, were the volumes perfect. Above that a criterion in ppb asks for more than either method gives: compare the difference with twice its combined standard uncertainty instead.

## Share within 5 ppb

In %, against a perfect / a real direct reading. The figures carry about ±0.5 of chance.
`

const agreementSpread = `
## Spread by volumes alone, and whether the stated interval holds

At 20 °C, as % of TPO. The SD is taken between the 16 and 84 % points. The last columns say how many of the program's 95 % intervals at 100 ppb hold the true TPO, given the right spreads.

`

const agreementNotes = `
Against the notes this program was designed from (a Monte Carlo on the same spreads, unpublished): cans with lot values, and fill height, agree within 0.2 points. It differs in two places.

- Own tare and own capacity: 0.6–0.8 % here, 1.0–1.4 % there. The notes must hold about 0.35 mL of error in filling a package to the brim; here it is 0.2 mL.
- Bottles with the lot's capacity: up to one point more here, because the mean of five bottles is itself uncertain (0.6–0.9 mL). A study of twenty would bring nearly the notes' figures.

The mean error of the assumed fill is no chance: lines fill a little above the nominal volume, so an assumption at nominal reads 1.5–2.3 % high, and a low fill reads too low.

The intervals hold about as often as they say: 94–97 %, and 96–99 % where a lot's capacity rules, since five packages do not tell its spread well and Student's factor pays for that. An assumed fill of cans holds in 94 %: its low fills and its mean error are outside. For an assumed fill of bottles it holds in 99 %: the program takes them as filled to a level, with a wide share for a lot's capacity.

## What the plain figure leaves out

Errors of reading aside, a beer of 5 % alcohol and 2.5 volumes at 100 ppb TPO, weighed:

`

const agreementBeer = `
One-sided and the same for every package of a beer: lower oxygen solubility in beer makes the plain figure high, the density and pressure of CO2 make it low. The corrections remove it as far as their own constants are right; the truth of this table uses the same ones.
`
