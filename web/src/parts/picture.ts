// A chart as a picture: what stands on the page, in its theme, at twice its size.
// Any element will do, drawn by SVG, by boxes or on a canvas. Loaded when asked for.
import bold from '@fontsource/atkinson-hyperlegible-next/files/atkinson-hyperlegible-next-latin-700-normal.woff2?inline';
import regular from '@fontsource/atkinson-hyperlegible-next/files/atkinson-hyperlegible-next-latin-400-normal.woff2?inline';

/** What an image cannot take from the page's style sheet is written onto each element. */
const TEXT = ['color', 'font-family', 'font-size', 'font-weight', 'font-style', 'font-variant-numeric', 'letter-spacing', 'line-height', 'text-align', 'text-decoration-line', 'white-space', 'vertical-align', 'opacity', 'visibility'];
const BOX = [
	'display', 'position', 'top', 'right', 'bottom', 'left', 'box-sizing', 'width', 'height', 'min-width', 'max-width', 'min-height', 'margin-top', 'margin-right', 'margin-bottom', 'margin-left', 'padding-top', 'padding-right', 'padding-bottom', 'padding-left',
	'border-top', 'border-right', 'border-bottom', 'border-left', 'border-radius', 'border-collapse', 'border-spacing', 'background-color', 'background-image', 'background-size', 'overflow-x', 'overflow-y', 'text-overflow', 'transform', 'transform-origin', 'z-index', 'list-style-type', 'outline',
	'flex-direction', 'flex-wrap', 'flex-grow', 'flex-shrink', 'flex-basis', 'align-items', 'align-content', 'align-self', 'justify-content', 'justify-items', 'justify-self', 'row-gap', 'column-gap', 'grid-template-columns', 'grid-column-start', 'grid-column-end', 'grid-row-start', 'grid-row-end', 'table-layout'
];
const DRAWN = ['fill', 'fill-opacity', 'stroke', 'stroke-width', 'stroke-dasharray', 'stroke-linejoin', 'stroke-linecap', 'stroke-opacity', 'text-anchor', 'paint-order', 'dominant-baseline', 'vector-effect', 'clip-path', 'transform', 'display', 'width', 'height', 'position', 'inset', 'background-color', 'border-top', 'border-bottom', 'overflow-x', 'overflow-y'];
const LEFT_OUT = '.noprint, .vh, details, button, label, input, select, script';

/** Copies an element with its looks; what only serves the page is left out. */
function copy(of: Element): Element | undefined {
	if (of.matches(LEFT_OUT) || getComputedStyle(of).display === 'none') return undefined;
	if (of instanceof HTMLCanvasElement) {
		const img = document.createElement('img');
		img.src = of.toDataURL('image/png');
		img.style.setProperty('width', `${of.clientWidth}px`);
		img.style.setProperty('height', `${of.clientHeight}px`);
		return img;
	}
	const to = of.cloneNode(false) as HTMLElement | SVGElement, look = getComputedStyle(of);
	to.removeAttribute('class');
	// A line of text may break elsewhere in the picture: its height follows.
	const lines = !(of instanceof SVGElement) && [...of.childNodes].some((c) => c.nodeType === Node.TEXT_NODE && c.textContent!.trim());
	for (const p of [...TEXT, ...(of instanceof SVGElement ? DRAWN : BOX)]) {
		const v = look.getPropertyValue(p);
		if (v && !(lines && p === 'height')) to.style.setProperty(p, v);
	}
	for (const c of of.childNodes) {
		if (c.nodeType === Node.TEXT_NODE) to.append(c.cloneNode());
		else if (c instanceof Element) {
			const x = copy(c);
			if (x) to.append(x);
		}
	}
	return to;
}
/** The copy as it will be drawn, and how high it is without what was left out. */
function drawing(of: Element): { svg: string; w: number; h: number } {
	// A table that scrolls sideways is shown whole.
	const w = Math.ceil(Math.max(of.getBoundingClientRect().width, ...[...of.querySelectorAll('.scroll')].map((e) => e.scrollWidth)));
	const body = copy(of) as HTMLElement, aside = document.createElement('div');
	for (const [k, v] of [['margin', '0'], ['position', 'static'], ...(of instanceof SVGElement ? [] : [['width', `${w}px`], ['height', 'auto']])]) body.style.setProperty(k, v);
	for (const [k, v] of [['position', 'fixed'], ['left', '-20000px'], ['top', '0'], ['width', `${w}px`]]) aside.style.setProperty(k, v);
	aside.append(body);
	document.body.append(aside);
	const h = Math.ceil(aside.getBoundingClientRect().height) + 2;
	aside.remove();
	const font = [[400, regular], [700, bold]].map(([n, url]) => `@font-face{font-family:Hyper;font-weight:${n};src:url(${url}) format('woff2')}`).join('');
	const inner = new XMLSerializer().serializeToString(body);
	return { w, h, svg: `<svg xmlns="http://www.w3.org/2000/svg" width="${w}" height="${h}"><style>${font}</style><foreignObject x="0" y="0" width="${w}" height="${h}">${inner}</foreignObject></svg>` };
}
const HEAD = 44, EDGE = 16;
/** The picture with its title above and its origin below. */
export async function picture(of: Element, title: string, note: string): Promise<Blob> {
	const { svg, w, h } = drawing(of), k = 2;
	const img = new Image();
	img.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(svg)}`;
	await img.decode();
	const canvas = document.createElement('canvas');
	canvas.width = (w + 2 * EDGE) * k;
	canvas.height = (h + HEAD + 2 * EDGE) * k;
	const c = canvas.getContext('2d')!, root = getComputedStyle(document.documentElement), body = getComputedStyle(document.body);
	c.scale(k, k);
	c.fillStyle = [body.backgroundColor, root.backgroundColor].find((x) => x && x !== 'rgba(0, 0, 0, 0)') ?? '#fff';
	c.fillRect(0, 0, canvas.width, canvas.height);
	c.fillStyle = body.color;
	c.font = `700 18px ${body.fontFamily}`;
	c.fillText(title, EDGE, EDGE + 18, w);
	c.drawImage(img, EDGE, HEAD, w, h);
	c.font = `12px ${body.fontFamily}`;
	c.textAlign = 'right';
	c.fillText(note, w + EDGE, h + HEAD + EDGE + 8, w);
	return new Promise((done, no) => canvas.toBlob((b) => (b ? done(b) : no(new Error('the browser makes no PNG of it'))), 'image/png'));
}
