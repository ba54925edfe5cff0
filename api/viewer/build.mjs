// Builds the page from src into dist. The new one is made beside and then
// moved, so that no build of the program meets half a page.
import { readdir, readFile, rename, rm, writeFile } from 'node:fs/promises'
import { dirname } from 'node:path'
import { fileURLToPath } from 'node:url'
import { build } from 'vite'

process.chdir(dirname(fileURLToPath(import.meta.url)))
const made = `.dist-${process.pid}`
try {
  await build({ logLevel: 'warn', build: { outDir: made, emptyOutDir: true } })
  await writeFile(`${made}/licences.txt`, await licences())
  await rm('dist', { recursive: true, force: true })
  await rename(made, 'dist')
} finally {
  await rm(made, { recursive: true, force: true })
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
