// A table wider than its place can be scrolled by keyboard too: it takes the
// focus, but only while there is something to scroll.
export function scrolls(label: string) {
	return (el: HTMLElement): (() => void) => {
		// Until the first layout it counts as wide: better one stop too many than none.
		const see = (measured = true) => {
			if (!measured || el.scrollWidth > el.clientWidth + 1) {
				el.tabIndex = 0;
				el.setAttribute('role', 'region');
				el.setAttribute('aria-label', `${label}, table`);
			} else for (const a of ['tabindex', 'role', 'aria-label']) el.removeAttribute(a);
		};
		const o = new ResizeObserver(() => see());
		see(false);
		o.observe(el);
		if (el.firstElementChild) o.observe(el.firstElementChild);
		return () => o.disconnect();
	};
}
