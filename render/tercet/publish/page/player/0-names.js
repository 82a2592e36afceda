/* Short names for what stands often in the scripts: `make player` writes them in its place, the sources say it in full. */
const $d = document;
const $w = window;
const $a = document.querySelectorAll.bind(document);
const $q = document.querySelector.bind(document);
const $c = document.createElement.bind(document);
const $m = Math.max;
const $n = Math.min;
const $r = Math.round;
const $f = Math.floor;
const $b = Math.abs;
const $F = Float64Array;
const $G = Float32Array;
const $s = String;
const $N = Number;
