import { fileURLToPath } from 'node:url'
import { defineConfig } from 'vite'

const here = (path) => fileURLToPath(new URL(path, import.meta.url))
const library = here('./node_modules/maplibre-gl/src/')

export default defineConfig(({ command }) => ({
  // The map library is built from its source: the page and the worker then share
  // one chunk. Its own files hold that chunk twice, and are too much together.
  // Developing, its files as published do.
  resolve: {
    alias: command === 'build'
      ? [{ find: /^maplibre-gl$/, replacement: library + 'index.ts' }, { find: /^maplibre-gl\/worker$/, replacement: library + 'source/worker.ts' },
          { find: /^(@maplibre\/mlt|bidi-js)$/, replacement: here('./src/map/unused.ts') },
          { find: /^.*\/(hillshade|heatmap|color_relief|fill_extrusion|atmosphere|terrain)[\w.]*\.glsl\.g\.ts$/, replacement: here('./src/map/no-shader.ts') }]
      : [{ find: /^maplibre-gl\/worker$/, replacement: here('./node_modules/maplibre-gl/dist/maplibre-gl-worker.mjs') }],
  },
  esbuild: { legalComments: 'none' },
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    cssCodeSplit: false,
    modulePreload: false,
    reportCompressedSize: false,
    chunkSizeWarningLimit: 1000,
    rollupOptions: {
      input: { app: 'index.html', worker: 'src/map/worker.ts' },
      // A view's part is called by its folder.
      output: { entryFileNames: '[name].js', chunkFileNames: (c) => `${/src\/(\w+)\/view\.tsx$/.exec(c.facadeModuleId ?? '')?.[1] ?? 'shared'}.js`, assetFileNames: 'app[extname]' },
      onwarn: (warning, warn) => { if (warning.code !== 'CIRCULAR_DEPENDENCY') warn(warning) },
    },
  },
  // What the page asks for lies below the path it is reached at; the service
  // writes that path into the page. Parts find one another beside themselves.
  experimental: { renderBuiltUrl: (file, { hostType }) => hostType === 'html' ? '%BASE%/map/' + file : { relative: true } },
  plugins: [{
    name: 'words-of-the-service',
    apply: 'serve',
    transformIndexHtml: (page) => page.replaceAll('%BASE%', '').replaceAll('%BASEMAP%', '').replaceAll('%CREDIT%', '').replaceAll('%CAUTIONS%', 'Screening, not an inspection: a qualified arborist inspects before any cutting. (The service writes its own words here.)'),
  }],
  // `npm run dev` asks a service that is running, such as the demo.
  server: { proxy: { '^/(collections|tiles|ranking|rankings|explain|hours|places|grid|questions|imports|quarantine|programmes|jobs|what-if|specification|reduction|due|work|appraisals|practice|report|crew-sheet|bid-sheet|functions)': process.env.UNDERBOUGH ?? 'http://127.0.0.1:8017' } },
}))
