/* Made by make player, don't edit. Source: sha256 c16dffa009836a6d6bf6b28ddc5d68a309f06e508a45c604e172eef2e991aa64 */
const $d=document,$w=window,$a=document.querySelectorAll.bind(document),$q=document.querySelector.bind(document),$c=document.createElement.bind(document),$m=Math.max,$n=Math.min,$r=Math.round,$f=Math.floor,$b=Math.abs,$F=Float64Array,$G=Float32Array,$s=String,$N=Number;
