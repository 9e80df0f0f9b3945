// Colours of the drawing. One warm ramp of one hue, light to dark (dark scheme: dark to bright),
// so that order survives a photocopy, colour-blind eyes and a projector; sizes repeat the order.
const PALETTES = {
  light: {
    ink: '#1d2327', muted: '#5d666c', paper: '#f6f5f0', halo: 'rgba(255,255,255,0.92)',
    grid: 'rgba(29,35,39,0.17)', edge: 'rgba(58,26,8,0.85)', quiet: '#737b80',
    ramp: ['#fbe6cd', '#f4c08b', '#e2934f', '#c0652a', '#8f3f16', '#54200a'],
    tints: ['#e6ecdd', '#efe5d8', '#dfe6ec', '#ebe2ea', '#e9e7d3', '#dceae7', '#f0e0dc', '#e4e3df'],
    border: '#8a8f86', target: '#0b3c8a', wash: 'rgba(11,60,138,0.09)', onTarget: '#ffffff',
    follow: '#075e46', hole: '#101314', water: '#3f7fb5', line: '#6b6257', out: '#6a1b4d',
    outWash: 'rgba(106,27,77,0.10)', select: '#d1006b', surfaceAlpha: 0.85, onGroup: '#1d2327',
    groups: ['#f2b134', '#8ec9ea', '#6cc3a0', '#f4ec8a', '#e79a6b', '#d9a6c8', '#b9bec2', '#a9b6ef', '#c9dd8a', '#e6c9a8'],
  },
  dark: {
    ink: '#eae7e0', muted: '#a7afb4', paper: '#101416', halo: 'rgba(16,20,22,0.9)',
    grid: 'rgba(234,231,224,0.15)', edge: 'rgba(255,236,214,0.75)', quiet: '#868f94',
    ramp: ['#553722', '#83522b', '#b27033', '#dc964b', '#f6c081', '#fff0d9'],
    tints: ['#262e22', '#342b22', '#232c34', '#322834', '#2f2d20', '#1f312d', '#372724', '#2b2a28'],
    border: '#6c736c', target: '#a9cbff', wash: 'rgba(169,203,255,0.10)', onTarget: '#0c1a33',
    follow: '#86e2c0', hole: '#ffffff', water: '#6fb2e6', line: '#a89c8c', out: '#f0a3cf',
    outWash: 'rgba(240,163,207,0.10)', select: '#ff6fb5', surfaceAlpha: 0.85, onGroup: '#14181a',
    groups: ['#f2b134', '#8ec9ea', '#6cc3a0', '#f4ec8a', '#e79a6b', '#d9a6c8', '#b9bec2', '#a9b6ef', '#c9dd8a', '#e6c9a8'],
  },
};

function paletteOf(store) {
  return PALETTES[store.state.printing ? 'light' : store.state.scheme];
}
