// Builds the page from src into dist. The new one is made beside and then
// moved, so that no build of the program meets half a page.
import { createHash } from 'node:crypto'
import { readdir, readFile, rename, rm, writeFile } from 'node:fs/promises'
import { dirname } from 'node:path'
import { fileURLToPath } from 'node:url'
import { build } from 'vite'

process.chdir(dirname(fileURLToPath(import.meta.url)))
const made = `.dist-${process.pid}`
try {
  await build({ logLevel: 'warn', build: { outDir: made, emptyOutDir: true } })
  await worker()
  await writeFile(`${made}/licences.txt`, await licences())
  await rm('dist', { recursive: true, force: true })
  await rename(made, 'dist')
} finally {
  await rm(made, { recursive: true, force: true })
}

// worker builds the service worker, one file that knows the page's others.
async function worker() {
  const sum = (b) => createHash('sha256').update(b).digest('hex')
  const files = {}
  for (const name of (await readdir(made)).sort()) if (name !== 'index.html') files[name] = sum(await readFile(`${made}/${name}`))
  const page = await readFile(`${made}/index.html`, 'utf8')
  const build_ = sum(JSON.stringify(files) + page).slice(0, 16)
  await writeFile(`${made}/index.html`, page.replace('%BUILD%', build_))
  await build({
    configFile: false, logLevel: 'warn', define: { BUILD: JSON.stringify(build_), FILES: JSON.stringify(files) }, esbuild: { legalComments: 'none' },
    build: {
      outDir: made, emptyOutDir: false, copyPublicDir: false, target: 'es2022', modulePreload: false, reportCompressedSize: false,
      rollupOptions: { input: 'src/sw/worker.ts', output: { format: 'iife', entryFileNames: 'sw.js' } },
    },
  })
}

// licences gathers what the libraries that are built in ask to be kept with them.
async function licences() {
  const { packages } = JSON.parse(await readFile('package-lock.json', 'utf8'))
  const out = ['The map page is built with these libraries.']
  for (const [folder, { dev, version }] of Object.entries(packages)) {
    if (!folder || dev) continue
    const file = (await readdir(folder)).find((f) => /^(licen[cs]e|copying)/i.test(f))
    const { license } = JSON.parse(await readFile(`${folder}/package.json`, 'utf8'))
    out.push(`${folder.replace(/^.*node_modules\//, '')} ${version} (${license})${file ? '\n\n' + (await readFile(`${folder}/${file}`, 'utf8')).trim() : ''}`)
  }
  return out.join('\n\n----\n\n') + '\n'
}
