// Builds the map page from src into dist. The new one is made beside and then
// moved, so that no build of the program meets half a page.
import { build } from 'esbuild'
import { copyFile, mkdir, rename, rm } from 'node:fs/promises'
import { dirname } from 'node:path'
import { fileURLToPath } from 'node:url'

process.chdir(dirname(fileURLToPath(import.meta.url)))
const made = `.dist-${process.pid}`
await rm(made, { recursive: true, force: true })
await mkdir(made)
await build({
  entryPoints: { app: 'src/main.js' },
  outdir: made,
  bundle: true,
  minify: true,
  format: 'esm',
  target: 'es2022',
  // Pictures of markers and layer buttons, which the page does not use.
  loader: { '.png': 'empty' },
  legalComments: 'inline',
})
for (const file of ['index.html', 'icon.svg']) await copyFile(`src/${file}`, `${made}/${file}`)
await rm('dist', { recursive: true, force: true })
await rename(made, 'dist')
