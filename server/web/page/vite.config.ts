import { defineConfig } from 'vite';

// The page is built beside this folder, where Go embeds it. Everything is a
// file of its own under assets/, named by its content: the page's security
// policy allows nothing inline.
export default defineConfig({
  base: './',
  build: {
    outDir: '../dist',
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: 'es2022',
  },
  assetsInclude: ['**/*.geojson'],
  test: { include: ['test/**/*.test.ts'] },
} as Parameters<typeof defineConfig>[0]);
