import { register } from '../views'

register({ id: 'field', title: 'Field', load: () => import('./view').then((m) => m.FieldView), order: 25 })

// Once the page stands: what waits is sent, and the page kept for where there is no
// signal.
const begin = () => void import('./begin').then((m) => m.begin()).catch(() => {})
const idle = () => 'requestIdleCallback' in window ? requestIdleCallback(begin, { timeout: 5000 }) : setTimeout(begin, 2000)
if (document.readyState === 'complete') idle()
else addEventListener('load', idle)
