// The style sheet of report.html: sober on screen, whole on A4, and readable
// without colour, which only fills lamps.
#pragma once

namespace tachproof {

inline constexpr const char* report_style = R"css(
:root { color-scheme: light; }
@page { size: A4; margin: 15mm 14mm 16mm 16mm; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 2.2rem 2rem 3rem; max-width: 60rem; background: #fff; color: #111;
  font: 15px/1.45 Charter, "Bitstream Charter", "Source Serif 4", Cambria, Georgia, "DejaVu Serif", serif; }
h1 { font-size: 1.05rem; font-weight: normal; letter-spacing: .04em; margin: 0 0 .2rem; }
h1 b { letter-spacing: 0; }
h2 { font-size: 1.12rem; margin: 2.1rem 0 .5rem; padding-top: .35rem; border-top: 2px solid #111; break-after: avoid; }
h3 { font-size: 1rem; margin: 1.2rem 0 .3rem; break-after: avoid; }
p { margin: .4rem 0; max-width: 46rem; }
ul { margin: .4rem 0; padding-left: 1.2rem; max-width: 46rem; }
.verdict { display: flex; align-items: center; gap: 1.5rem; margin: .9rem 0 1.3rem; padding: .95rem 1.2rem;
  border: 1px solid #111; break-inside: avoid; }
.verdict strong { font-size: 2.5rem; line-height: 1; letter-spacing: .05em; }
.verdict p { margin: 0; font-size: 1.05rem; overflow-wrap: anywhere; }
.verdict p + p { margin-top: .4rem; font-size: .95rem; }
.verdict.pass { border-width: 2px; outline: 1px solid #111; outline-offset: 3px; }
.verdict.fail strong { background: #111; color: #fff; padding: .32rem .7rem; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }
.verdict.fail { border-width: 5px; }
.verdict.undecided { border: 5px dashed #111; }
dl { display: grid; grid-template-columns: repeat(2, minmax(0, 1fr)); gap: 0 2rem; margin: .6rem 0; }
dl div { display: grid; grid-template-columns: 8.5rem minmax(0, 1fr); gap: .6rem; padding: .16rem 0;
  border-bottom: 1px solid #ddd; break-inside: avoid; }
dl .wide { grid-column: 1 / -1; }
dt { color: #444; }
dd { margin: 0; overflow-wrap: anywhere; }
code { font: .8rem/1.35 "DejaVu Sans Mono", Consolas, Menlo, monospace; overflow-wrap: anywhere; }
.scroll { overflow-x: auto; margin: .5rem 0; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums lining-nums; font-size: .9rem; }
caption { text-align: left; color: #444; padding-bottom: .25rem; break-after: avoid; }
th, td { text-align: left; padding: .2rem .55rem .2rem 0; vertical-align: top; }
th { font-weight: normal; color: #444; border-bottom: 1px solid #111; vertical-align: bottom; }
td { border-bottom: 1px solid #ddd; }
tr { break-inside: avoid; }
.state { break-after: avoid; }
.state th { padding-top: .7rem; font-weight: bold; color: #111; }
thead { display: table-header-group; break-after: avoid; }
tbody tr:first-child, tbody tr:last-child:not(:first-child) { break-before: avoid; }
h2 + p { break-after: avoid; }
.n { text-align: right; white-space: nowrap; }
.n + :not(.n) { padding-left: .8rem; }
.w { white-space: nowrap; }
td b { white-space: nowrap; }
.m { overflow-wrap: anywhere; }
td b.fail { background: #111; color: #fff; padding: 0 .35rem; print-color-adjust: exact;
  -webkit-print-color-adjust: exact; }
td b.undecided { border: 1.5px dashed #111; padding: 0 .3rem; }
figure { margin: .6rem 0; }
figcaption { color: #444; font-size: .9rem; max-width: 46rem; }
.pairs figure { display: inline-block; width: 49%; margin: .4rem .4% .4rem 0; vertical-align: top; }
svg { display: block; width: 100%; height: auto; overflow: visible; }
svg.definitions { position: absolute; width: 0; height: 0; }
svg text { font: 12px "DejaVu Sans", "Segoe UI", Helvetica, Arial, sans-serif; fill: #111; }
svg .small { font-size: 11px; }
svg .strong { font-weight: bold; }
svg .on-lamp { font-size: 10px; paint-order: stroke; stroke: #fff; stroke-width: 3px; stroke-linejoin: round; }
.axis { stroke: #111; stroke-width: 1; fill: none; }
.grid { stroke: #e2e2e2; stroke-width: 1; }
.rpm { stroke: #111; stroke-width: 1.6; fill: none; stroke-linejoin: round; }
.rising { stroke: #333; stroke-width: 1; stroke-dasharray: 7 3; fill: none; }
.falling { stroke: #333; stroke-width: 1; stroke-dasharray: 1.5 3; fill: none; }
.leader { stroke: #888; stroke-width: .7; fill: none; }
.lamp { stroke: #111; stroke-width: .8; }
.dark { stroke: #777; stroke-width: 1; fill: none; }
.band { fill: #000; fill-opacity: .09; stroke: #777; stroke-width: .6; stroke-dasharray: 2 2; }
.allowed { fill: #fff; stroke: #111; stroke-width: 1.2; }
.limit { stroke: #777; stroke-width: .8; stroke-dasharray: 2 3; }
.seen { stroke: #111; stroke-width: 1.2; stroke-dasharray: 5 2 1 2; }
.point { fill: #fff; stroke: #111; stroke-width: 1.5; }
rect.fail { fill: none; stroke: #111; stroke-width: 3; }
rect.undecided { fill: none; stroke: #111; stroke-width: 3; stroke-dasharray: 9 6; }
.mark { fill: #111; stroke: #111; }
.legend { break-before: avoid; display: flex; flex-wrap: wrap; gap: .25rem 1.1rem; max-width: none; font-size: .85rem; }
.swatch { display: inline-flex; align-items: center; gap: .4rem; white-space: nowrap; }
.swatch svg { width: 34px; height: 14px; }
.simulated { display: flex; flex-wrap: wrap; align-items: baseline; gap: 0 1rem; max-width: none; margin: 0 0 .8rem; padding: .4rem .8rem;
  border: 3px double #111; background: repeating-linear-gradient(-45deg, #fff 0 14px, #eee 14px 28px);
  print-color-adjust: exact; -webkit-print-color-adjust: exact; }
.simulated b { font-size: 1.5rem; letter-spacing: .3em; }
.bar { stroke: #111; stroke-width: 1.6; fill: none; }
.deviations { margin: 1rem 0 1.4rem; break-inside: avoid; }
.narrow > svg { max-width: 34rem; }
.deviations .narrow > svg { max-width: 25rem; }
.deviations svg text { font-size: 13px; }
svg text.over { paint-order: stroke; stroke: #fff; stroke-width: 3px; }
.sign { display: flex; flex-wrap: wrap; gap: 1rem 3rem; margin: 2.6rem 0 1rem; break-inside: avoid; font-size: .9rem; }
.sign div { flex: 1 1 11rem; }
.sign span { display: block; height: 2.4rem; border-bottom: 1px solid #111; margin-bottom: .2rem; }
.end { text-align: center; margin-top: 1.2rem; font-size: .85rem; max-width: none; }
th.budget { max-width: 6rem; white-space: normal; }
i { color: #444; }
footer { margin-top: 2.2rem; padding-top: .5rem; border-top: 2px solid #111; font-size: .85rem; }
@media screen and (max-width: 44rem) {
  body { padding: 1rem .8rem 2rem; }
  dl { grid-template-columns: minmax(0, 1fr); }
  .pairs figure { width: 100%; }
  .verdict { flex-direction: column; align-items: flex-start; gap: .6rem; }
  .verdict strong { font-size: 2rem; }
  .scroll > svg { min-width: 46rem; }
  .scroll > table { min-width: 34rem; }
  .narrow > svg, .narrow > table, .stacked > table { min-width: 0; }
  .stacked > table, .stacked tbody { display: block; }
  .stacked thead, .stacked colgroup { display: none; }
  .stacked tbody tr { display: flex; flex-wrap: wrap; gap: 0 .9rem; padding: .25rem 0; border-bottom: 1px solid #ddd; }
  .stacked td { border: 0; padding: 0; }
  .stacked .n + td { padding-left: 0; }
  .stacked td:last-child { flex: 1 0 100%; min-width: 0; }
  .stacked td[data-of]::after { content: " " attr(data-of); }
  .scroll caption { width: calc(100vw - 1.6rem); }
}
@media print {
  body { padding: 0; max-width: none; font-size: 10pt; }
  .scroll { overflow: visible; }
  .deviations .narrow > svg { max-width: 23rem; }
  h2 { margin-top: 1.5rem; }
}
)css";

}  // namespace tachproof
